"""An inspection in two open formats: SARIF 2.1.0 (OASIS) and the XML that JUnit made common."""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import quote
from xml.etree import ElementTree

from circuitcheck.inspect.inspection import Inspection
from circuitcheck.inspect.rule import RULES, Finding, Severity

LEVELS = {Severity.serious: "error", Severity.doubtful: "warning", Severity.note: "note"}
"""The levels of SARIF 2.1.0, 3.27.10."""
SARIF_SCHEMA = (
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
)


def lines_of(text: str) -> dict[str, int]:
    """The line on which each part and wire of a harness file begins, from 1."""
    found: dict[str, int] = {}
    inside = False
    for number, line in enumerate(text.splitlines(), start=1):
        if re.match(r"\S", line) and not line.startswith("#"):
            inside = line.startswith(("parts:", "wires:"))
        match = re.match(r" +['\"]?([^\s'\":#]+)['\"]?\s*:", line)
        if inside and match:
            found.setdefault(match[1], number)
    return found


def _line(lines: dict[str, int], place: str) -> int | None:
    return lines.get(re.split(r"[ .]", place)[0])


def sarif(result: Inspection, file: str, text: str = "", version: str = "") -> dict[str, Any]:
    """The inspection as a SARIF log with one run.

    :param file: of the harness, as the log shall name it
    :param text: of the file, to point at lines
    """
    lines, rules = lines_of(text), result.rules
    ids = [one.id for one in rules]
    return {
        "$schema": SARIF_SCHEMA,
        "version": "2.1.0",
        "runs": [
            {
                "tool": {
                    "driver": {
                        "name": "circuitcheck",
                        **({"version": version} if version else {}),
                        "rules": [
                            {
                                "id": one.id,
                                "shortDescription": {"text": one.what},
                                "help": {"text": f"Limit from: {one.source}."},
                                "defaultConfiguration": {"level": LEVELS[one.severity]},
                            }
                            for one in rules
                        ],
                    }
                },
                "columnKind": "unicodeCodePoints",
                "results": [_sarif_result(one, file, lines, ids) for one in result.findings],
            }
        ],
    }


def _sarif_result(one: Finding, file: str, lines: dict[str, int], ids: list[str]) -> dict[str, Any]:
    place: dict[str, Any] = {"artifactLocation": {"uri": quote(file)}}
    number = _line(lines, one.place)
    if number is not None:
        place["region"] = {"startLine": number}
    found: dict[str, Any] = {
        "ruleId": one.rule,
        "ruleIndex": ids.index(one.rule),
        "level": LEVELS[one.severity],
        "message": {"text": f"{one.place}: {one.words}"},
        "locations": [{"physicalLocation": place, "logicalLocations": [{"name": one.place}]}],
        "partialFingerprints": {"ruleAndPlace/v1": one.key},
    }
    if one.accepted:
        found["suppressions"] = [
            {"kind": "external", "status": "accepted", "justification": one.accepted}
        ]
    return found


def junit(result: Inspection) -> str:
    """The inspection as JUnit XML: a case for each finding, and one for each rule that found nothing.

    Serious and doubtful findings are failures, notes pass with their words, accepted ones are skipped.
    """
    suite = ElementTree.Element("testsuite", name=f"circuitcheck inspect {result.harness.name}")
    by_rule: dict[str, list[Finding]] = {rule.id: [] for rule in result.rules}
    for one in result.findings:
        by_rule[one.rule].append(one)
    for rule, found in by_rule.items():
        if not found:
            ElementTree.SubElement(suite, "testcase", classname=rule, name=RULES[rule].what)
        for one in found:
            _case(ElementTree.SubElement(suite, "testcase", classname=rule, name=one.place), one)
    counts = {kind: len(suite.findall(f"testcase/{kind}")) for kind in ("failure", "skipped")}
    suite.set("tests", str(len(suite)))
    suite.set("failures", str(counts["failure"]))
    suite.set("errors", "0")
    suite.set("skipped", str(counts["skipped"]))
    suites = ElementTree.Element("testsuites")
    suites.append(suite)
    ElementTree.indent(suites)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(suites, encoding="unicode")


def _case(case: ElementTree.Element, one: Finding) -> None:
    if one.accepted:
        ElementTree.SubElement(case, "skipped", message=f"accepted: {one.accepted}")
    elif one.severity is Severity.note:
        ElementTree.SubElement(case, "system-out").text = one.words
    else:
        failure = ElementTree.SubElement(case, "failure", type=one.severity.name, message=one.words)
        failure.text = " - ".join(one.path) or one.words
