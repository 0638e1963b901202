"""Tests of what a reset acts on beside its setpoints: economizer, compressors, cold mixed air."""

from __future__ import annotations

from ..facts import Facts
from ..records import Names, Test


def air_side_tests(f: Facts, n: Names) -> list[Test]:
    """Economizer, compressors and cold mixed air."""
    tests = []
    if f.economizer:
        shuts = " and ".join(
            text
            for id_, text in (
                ("S_ECO_LIMIT", "<S_ECO_LIMIT> outdoors"),
                ("S_ECO_ENTHALPY", "<S_ECO_ENTHALPY>"),
            )
            if id_ in n
        )
        compared = " and ".join(p for p in ("<P_OA_ENTHALPY>", "<P_RETURN>") if p[1:-1] in n)
        tests.append(
            n.test(
                "T_ECO",
                "Economizer with the reset",
                [
                    "Force outdoor conditions to 2 beyond and 2 below where it shuts "
                    f"({shuts or 'those of return air'}{', reading ' + compared if compared else ''}).",
                    "In mild weather let the supply setpoint <P_SAT_SET> rise by 3 degF by its reset; watch the "
                    "damper <P_OA_DAMPER>, mixed air <P_MAT>" + (" and cooling <P_COOL>." if "P_COOL" in n else "."),
                ],
                [
                    "Beyond, outdoor air is at its least; below, the damper follows the need.",
                    "Mixed air follows the setpoint, less the warmth of the fan, within 2 degF; cooling is off while "
                    "the damper has room to open"
                    + ("." if f.project.economizer.integrated else ", and while it is open."),
                ],
            )
        )
    if f.direct_expansion:
        tests.append(
            n.test(
                "T_DX",
                "Direct expansion at low airflow",
                [
                    "Force outdoor temperature <P_OAT> below the lockout; then let supply airflow fall to the low end "
                    "with one stage on; watch stages <P_COOL> and suction pressure.",
                ],
                [
                    "No compressor runs below <S_DX_LOCKOUT> or below <S_DX_FLOW>; run and rest times are kept; the "
                    "coil does not freeze.",
                ],
            )
        )
    tests.append(
        n.test(
            "T_FREEZE",
            "Cold mixed air",
            [
                "Force mixed air <P_MAT> to 1 degF below the limit at the controller; never freeze a coil for a test.",
                "Have the cut-out <P_CUTOUT> tripped at its own terminals by whoever is trained for it.",
            ],
            [
                "Below <S_FREEZE> the alarm comes and the outdoor-air damper goes to its least position.",
                "The cut-out stops the fan and acts as before the change, whatever the setpoints are.",
            ],
        )
    )
    return tests
