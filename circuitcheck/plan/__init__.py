"""Which test next: candidate tests, what each would settle, and what it costs."""
