"""Plans that cannot be carried out: (name, what is put in place of what, words of the message).

Each is the example plan with one thing made wrong, so that nothing else is to blame.
"""

from __future__ import annotations

PLANS: list[tuple[str, str, str, str]] = [
    ("not TOML", 'name = "Ferncombe 2026"', "name = Ferncombe 2026", "not TOML"),
    ("no name", 'name = "Ferncombe 2026"\n', "\n", "needs the key name"),
    ("empty name", 'name = "Ferncombe 2026"', 'name = "  "', "text in quotes"),
    ("unknown table", "[water]", "[watering]", "Did you mean water"),
    ("unknown key", 'first_after = "1 day"', 'frist_after = "1 day"', "Did you mean first_after"),
    ("one-off table written as many", "[outcome]", "[[outcome]]", "written [outcome]"),
    ("unknown way of a heap", 'name = "A"\n', 'name = "A"\nway = "stirred"\n', "Known: turned"),
    ("two heaps of one name", 'name = "B"', 'name = "A"', "same name"),
    (
        "unknown outcome",
        '"mean_excess_c"       #',
        '"mean_exces_c"   #',
        "Did you mean mean_excess_c",
    ),
    ("window backwards", '"5-55 days"', '"55-5 days"', "smaller one"),
    ("ends before it starts", "ends = 2026-06-18", "ends = 2026-04-01", "end before it starts"),
    ("no such day", "ends = 2026-06-18", "ends = 2026-06-31", "not TOML"),
    ("difference without number", 'matters = "8 C"', 'matters = "a lot"', "no number found"),
    ("difference in kilograms", 'matters = "8 C"', 'matters = "8 kg"', "does not fit"),
    ("unknown control", 'control = "left alone"', 'control = "ignored"', "Known: turned"),
    ("latitude of nowhere", "latitude = 51.2", "latitude = 151.2", "must lie within"),
    ("unknown zone", "Europe/London", "Europe/Ferncombe", "no such time zone"),
    ("a heap that is not there", '["A", "B", "C"', '["A", "B", "Z"', "Known: A, B"),
    ("per cent as a number", 'target = "50-60 %"', "target = 55", "Write 55 %"),
    (
        "gallons of nowhere",
        'volume = "80-100 litres"',
        'volume = "20 gallons"',
        "US gal or imp gal",
    ),
    ("turned without days", 'first_after = "5 days"\nevery = "14 days"\n', "", "needs a day"),
    (
        "pipes in a turned heap",
        'every = "14 days"',
        'every = "14 days"\npipes = 2',
        "pipes are given",
    ),
    ("no pipes", "pipes = 2\n", "pipes = 0\n", "1 to 50 pipes"),
    ("half a pipe", "pipes = 2\n", "pipes = 2.5\n", "whole number"),
    ("unknown shape", 'shape = "mound"', 'shape = "pyramid"', "no such choice"),
    ("unread hour", 'at = "sunrise"', 'at = "25:00"', "clock time"),
    ("a probe of 9 metres", 'depth = "50 cm"', 'depth = "9 m"', "must lie within"),
    ("unknown material amount", 'amount = "62 barrows"', 'amount = "lots of barrows"', "no number"),
]
