"""What comes last: overrides, trends of the first weeks, reversal."""

from __future__ import annotations

from ..facts import Facts
from ..records import Names, Test


def last_tests(f: Facts, n: Names) -> list[Test]:
    """Overrides, trends of the first weeks, reversal."""
    steps = [
        "Override both setpoints <P_SAT_SET>, <P_DSP_SET> by hand; wait.",
        "Read the log of overrides <P_OVERRIDE>.",
    ]
    passes = ["Both go back after <S_OVERRIDE>; the log has name, time and reason."]
    tests = [n.test("T_OVERRIDE", "Overrides end by themselves", steps, passes)]
    steps = ["Trend all points of the list for two to four weeks that have warm, mild and cool days."]
    passes = ["No gaps longer than an hour; every point moves that should."]
    if f.sat_moves:
        passes.append("The supply setpoint <P_SAT_SET> moves by more than <S_FLAT_SAT>.")
    if f.dsp_moves:
        passes.append("The pressure setpoint <P_DSP_SET> moves by more than <S_FLAT_DSP>.")
    passes += [
        "Zones <P_Z_TEMP> are above their cooling or below their heating setpoints <P_Z_COOL> by more than "
        f"{f.project.service.unmet_tolerance_f:g} degF no more than before the change.",
        "Means by outdoor temperature are near the table of what the estimate expects (monthly check).",
    ]
    if f.reheats:
        passes.append("Reheat <P_Z_HEAT> is open in fewer hours than before, or in no more.")
    tests.append(n.test("T_TREND", "Trend of the first weeks", steps, passes))
    tests.append(
        n.test(
            "T_REVERSE",
            "Reversal, tried once",
            [
                'Restore the values of the column "as found" in one go, as under "How to reverse it"; note how long it '
                "takes; then put the new ones back.",
            ],
            [
                "An operator can do it alone within 15 minutes; setpoints <P_SAT_SET> and <P_DSP_SET> are those as "
                "found."
            ],
        )
    )
    return tests
