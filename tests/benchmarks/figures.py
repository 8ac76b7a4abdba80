"""The figures of what came of many vehicles."""

import math

BINS = ((0.0, 0.5), (0.5, 0.8), (0.8, 0.9), (0.9, 0.97), (0.97, 1.01))


def share(rows, test):
    """The share of some outcomes for which something holds."""
    rows = list(rows)
    return sum(map(bool, map(test, rows))) / len(rows) if rows else math.nan


def mean(values):
    """Their mean; not a number if there are none."""
    values = list(values)
    return sum(values) / len(values) if values else math.nan


def figures(found):
    """All figures of some outcomes."""
    single = [one for one in found if one.kind == "single" and one.visible]
    wrong = [one for one in found if one.kind == "misread" and one.wrong and one.visible]
    sound = [one for one in found if one.kind == "sound"]
    passing = [one for one in found if one.kind == "passing" and one.met]
    ranges = [one.estimate for one in single if one.estimate]
    ordered = [one for one in single if one.in_order]
    return {
        "cases": len(found),
        "single_visible": len(single),
        "repair_right": share(single, cured),
        "units_in_repair": mean(len(o.repair) for o in single),
        "likeliest_unit_right": share(single, likeliest_right),
        "likeliest_right_or_said_inseparable": share(single, lambda o: likeliest_right(o) or _tied(o)),
        "true_fault_in_first_group": share(single, lambda o: o.truth[0] in o.first),
        "sound_called_sound": share(sound, lambda o: o.unit == ""),
        **_of_two([one for one in found if one.kind == "two" and one.visible]),
        "misread_still_right": share(wrong, cured),
        "misread_flagged": share(wrong, lambda o: any(o.wrong in one for one in o.repeat)),
        "comes_and_goes_repair_right": share(passing, cured),
        "comes_and_goes": len(passing),
        "calibration_error": calibration(found),
        "ranges_hold": share(ranges, lambda r: r[0] <= r[1] <= r[2]),
        "ranges": len(ranges),
        "isolation_utility": mean(o.utilities[0] for o in single),
        "isolation_utility_places": mean(o.utilities[1] for o in single),
        "minutes_thorough_against_default": sum(o.minutes_thorough or 0 for o in single)
        / max(sum(o.minutes for o in single), 1e-9),
        "minutes": mean(o.minutes for o in single),
        "steps": mean(o.steps for o in single),
        "minutes_against_written_order": sum(o.minutes for o in ordered)
        / max(sum(o.in_order for o in ordered), 1e-9),
    }


def cured(one):
    """Whether what the verdict names puts right all that is wrong."""
    return set(one.units) <= set(one.repair)


def likeliest_right(one):
    """Whether the likeliest unit alone does, or that nothing is wrong where nothing is."""
    return set(one.units) <= set(one.unit.split(" and ")) if one.units else one.unit == ""


def _tied(one):
    """It said that these cannot be parted without cutting the loom open, the true one among them."""
    return one.tied and one.truth[0] in one.first


def _of_two(two):
    """Two faults: as the vehicle stands, and once the first is put right."""
    shown = [one for one in two if one.shown]
    full = [one for one in two if one.full]
    cures = lambda o, key: set(o.units) <= set(getattr(o, key)["repair"])  # noqa: E731
    return {
        "two": len(two),
        "two_neither_hidden": len(shown),
        "two_in_first_three_at_once": share(shown, lambda o: set(o.truth) <= set(o.culprits)),
        "two_in_first_three_thorough": share(shown, lambda o: o.thorough["first_three"]),
        "two_in_first_group_thorough": share(shown, lambda o: o.thorough["first_group"]),
        "two_repair_right_thorough": share(shown, lambda o: cures(o, "thorough")),
        "full_sheets_that_need_both": len(full),
        "two_in_first_three_full_sheet": share(full, lambda o: o.full["first_three"]),
        "two_in_first_three_read_again": share(full, lambda o: o.again["first_three"]),
        "two_in_first_three_by_name_full_sheet": share(full, lambda o: o.full["by_name"]),
        "faults_named_in_first_three_full_sheet": mean(o.full["named"] for o in full),
        "two_in_first_group_full_sheet": share(full, lambda o: o.full["first_group"]),
        "two_repair_right_full_sheet": share(full, lambda o: cures(o, "full")),
        "two_in_first_groups_with_proof": share(two, lambda o: len(o.stops) == len(o.truth)),
        "two_in_first_three_with_proof": share(two, lambda o: len(o.found) == len(o.truth)),
        "two_both_put_right": share(two, lambda o: set(o.units) <= set(o.repairs)),
    }


def calibration(found):
    """Mean distance between the stated chance of the unit named and how often it was right."""
    sure = [(one.sure, likeliest_right(one)) for one in found if one.kind in ("single", "sound")]
    total = 0.0
    for low, high in BINS:
        here = [(stated, right) for stated, right in sure if low <= stated < high]
        if here:
            total += abs(sum(right - stated for stated, right in here))
    return total / max(len(sure), 1)


def failures(found):
    """The cases in which it was wrong, a line each."""
    for one in found:
        if one.kind in ("single", "misread") and one.visible and not cured(one):
            tied = ", said to be inseparable" if _tied(one) else ""
            yield f"{one.harness} {one.kind}: {one.truth} called {one.top[0]} ({one.sure:.2f}){tied}"
        if one.kind == "sound" and one.unit:
            yield f"{one.harness} sound called {one.top[0]} ({one.sure:.2f})"
        if one.kind == "two" and one.visible and len(one.found) < 2:
            hidden = "" if one.shown else ", one hides the other"
            yield f"{one.harness} two: {one.truth} put right {one.repairs}{hidden}"
