"""A vehicle being tested as the tool asks for it: the readings so far, the minutes, and the repairs."""

from collections import Counter

from circuitcheck.harness.model import Test
from circuitcheck.harness.readings import Reading, Sheet, parse_reading
from circuitcheck.plan.next_test import next_test
from circuitcheck.plan.planner import Options
from circuitcheck.plan.prove import prove

MOST_STEPS = 12
MOST_REPAIRS = 3


class Case:
    """A vehicle being tested."""

    def __init__(self, planner, vehicle, misread=None, opened=(), put_right=(), thorough=False):
        self.planner, self.vehicle = planner, vehicle
        self.put_right, self.thorough = tuple(put_right), thorough
        self.readings, self.setups, self.opened = [], {}, set(opened)
        self.minutes, self.steps, self.misread, self.wrong = 0.0, 0, misread, ""
        self.known = {one.name: one for one in planner.candidates}

    @property
    def sheet(self):
        return Sheet("", tuple(self.readings), dict(self.setups), self.put_right)

    @property
    def options(self):
        return Options(opened=frozenset(self.opened), thorough=self.thorough)

    def take(self, name, setup, observations, access=()):
        written = self.vehicle.read(setup, observations)
        for label, observation in observations:
            text = self._misread(label, observation, written[label])
            parsed = parse_reading(observation.kind, text)
            self.readings.append(Reading(name, label, observation, *parsed))
        observe = dict(self.setups[name].observe) if name in self.setups else {}
        self.setups[name] = Test(
            title=name, setup=setup, observe={**observe, **dict(observations)}, access=list(access)
        )

    def _misread(self, label, observation, text):
        """One reading in the whole case is plain wrong: another value that the meter could show."""
        if self.misread is None or self.wrong or self.misread.random() > 0.3:
            return text
        if observation.kind not in ("volts", "drop", "amps") or text == "buzzes":
            return text
        ceiling = 14.0 if observation.kind != "amps" else 30.0
        other = self.misread.uniform(0, ceiling)
        if abs(other - float(text.split()[0])) < 0.1 * ceiling:
            return text
        self.wrong = label
        return f"{other:.2f} {text.split()[1]}"

    def do(self, name, wanted, minutes, access):
        """One test as it was asked for."""
        candidate = self.known[name]
        observations = [one for one in candidate.observations if one[0] in wanted]
        self.take(name, candidate.setup, observations, access)
        self.minutes += minutes
        self.opened |= set(access)

    def follow(self, advice):
        """Do what is asked for until it stops."""
        while not advice.done and self.steps < MOST_STEPS:
            test = advice.test
            self.do(test.name, {one.sound.name for one in test.readings}, test.minutes, test.access)
            self.steps += 1
            advice = next_test(self.planner, self.sheet, self.options)
        return advice

    def full_sheet(self):
        """The verdict on all of the harness's own tests."""
        for name, test in self.planner.harness.tests.items():
            self.take(name, test.setup, list(test.observe.items()), test.access)
        return self.planner.locator.locate(self.sheet)

    def read_again(self, verdict):
        """The verdict once every reading that it asks for again, and that was taken once, has been."""
        for wanted in verdict.repeat:
            test, _, name = wanted.partition(": ")
            (*_, reading) = [one for one in self.readings if (one.test, one.name) == (test, name)]
            again = f"{test} again"
            if any((one.test, one.name) == (again, name) for one in self.readings):
                continue
            self.take(again, self.setups[test].setup, [(name, reading.observation)])
        return self.planner.locator.locate(self.sheet)

    def went_on(self):
        """The same case, to be gone on with thoroughly."""
        case = Case(self.planner, self.vehicle, None, self.opened, self.put_right, thorough=True)
        case.readings, case.setups = list(self.readings), dict(self.setups)
        case.minutes, case.steps = self.minutes, self.steps
        return case

    def in_written_order(self):
        """Minutes of the harness's own tests in their order until one unit is 95 % sure."""
        harness, minutes, opened = self.planner.harness, 0.0, set()
        for name, test in harness.tests.items():
            self.take(name, test.setup, list(test.observe.items()), test.access)
            minutes += test.minutes + sum(
                harness.access[one].minutes for one in set(test.access) - opened
            )
            opened |= set(test.access)
            verdict = self.planner.locator.locate(self.sheet)
            if likeliest_unit(verdict)[1] >= 0.95:
                break
        return minutes

    def repaired(self, verdict):
        """Put right what is named, prove, and go on where the proof is not sound.

        :returns: the verdicts at which it was put right or stopped, and the units put right
        """
        case, verdicts, named = self, [verdict], []
        while len(named) < MOST_REPAIRS:
            unit = unit_of(verdicts[-1], named)[0]
            if not unit:
                break
            named.append(unit)
            proof = prove(self.planner, case.sheet, None, case.options)
            done = [one for unit in named for one in unit.split(" and ")]
            case = Case(self.planner, case.vehicle.repaired(done), None, case.opened, done)
            for test in proof.tests:
                case.do(test.name, {one.name for one in test.readings}, test.minutes, test.access)
            if self.planner.locator.locate(case.sheet).verdict == "sound":
                break
            advice = next_test(self.planner, case.sheet, case.options)
            verdicts.append(case.follow(advice).verdict)
        return verdicts, [unit for one in named for unit in one.split(" and ")]


def unit_of(verdict, tried=()):
    """The unit to put right first, with its chance; none where the verdict is sound."""
    if verdict.verdict == "sound":
        return "", sum(one.probability for one in verdict.suspects if one.group == 1)
    return likeliest_unit(verdict, tried)


def likeliest_unit(verdict, tried=()):
    """The unit that is most likely at fault, with its chance."""
    units = Counter()
    for one in verdict.suspects:
        units[one.replace] += one.probability
    total = sum(units.values())
    for unit in tried:
        units.pop(unit, None)
    unit, chance = units.most_common(1)[0] if units else ("", 0.0)
    return unit, chance / total
