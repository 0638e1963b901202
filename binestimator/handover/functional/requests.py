"""Tests of what zones ask for, and of its account."""

from __future__ import annotations

import numpy as np

from ..facts import Facts
from ..records import Names, Test


def _heard_zone(f: Facts, column: str) -> str:
    """Zone line that asks most and is heard, for tests on one zone."""
    heard = f.unit.zones.weight > 0.0
    asked = np.where(heard, f.c.zones[column].to_numpy(dtype=float), -1.0)
    return str(f.unit.zones.names[int(np.argmax(asked))])


def request_tests(f: Facts, n: Names) -> list[Test]:
    """Requests of both kinds, their account, and the alarm of a rogue zone."""
    tests = []
    if f.sat_way.listens:
        name = _heard_zone(f, "temperature_request_hours")
        tests.append(
            n.test(
                "T_ASK_T",
                "Requests for colder air",
                [
                    "Choose a zone that is satisfied, with importance above 0 (<zone> asks most as estimated), and "
                    "note its cooling setpoint <P_Z_COOL> and the sum of requests <P_ASK_T>.",
                    "Lower the setpoint until it is 1, then 3.5, then 5.5 degF below the zone's temperature "
                    "<P_Z_TEMP>, each for 10 minutes; watch its cooling loop <P_Z_LOOP> and requests <P_Z_ASK_T>.",
                    "Set the setpoint back; watch the loop fall.",
                    "Set the zone's importance <S_IMPORTANCE> to 0, then to 2, then back, while it asks.",
                ],
                [
                    "At 1 degF one request, once the loop is above <S_LOOP_ASK>, held until it is below "
                    "<S_LOOP_RELEASE>.",
                    "At 3.5 degF two (beyond <S_WARM_2>), at 5.5 degF three (beyond <S_WARM_3>).",
                    "The sum changes by requests times importance: by nothing at 0, by twice the requests at 2.",
                ],
                zone=name,
            )
        )
    if f.dsp_way.listens:
        name = _heard_zone(f, "pressure_request_hours")
        tests.append(
            n.test(
                "T_ASK_P",
                "Requests for duct pressure",
                [
                    "Choose a terminal far from the fan (<zone> asks most as estimated); note its airflow and "
                    "setpoint <P_Z_FLOW>, damper <P_Z_DAMPER> and the sum of requests <P_ASK_P>.",
                    "Raise its airflow setpoint in steps until the damper passes <S_DAMPER_ASK>.",
                    "Raise it until the airflow is below <S_FLOW_2>, then below <S_FLOW_3> of the setpoint; watch its "
                    "requests <P_Z_ASK_P>.",
                    "Set it back; watch the damper close.",
                    "Set the zone's importance <S_IMPORTANCE> to 0, then to 2, then back, while it asks.",
                ],
                [
                    "One request once the damper is above <S_DAMPER_ASK>, held until it is below <S_DAMPER_RELEASE>.",
                    "Two below <S_FLOW_2>, three below <S_FLOW_3> of the airflow setpoint.",
                    "The sum changes by requests times importance: by nothing at 0, by twice the requests at 2.",
                ],
                zone=name,
            )
        )
    if f.listens:
        tests.append(
            n.test(
                "T_ACCOUNT",
                "Account of requests and alarm of a rogue zone",
                [
                    "Let one zone ask by force for an hour; read its request-hours.",
                    "Set its request-hours and hours by hand beyond <S_ROGUE_PCT> at more than <S_ROGUE_LEAST>.",
                    "Set its hours by hand to just below <S_ROGUE_RESET> and wait.",
                ],
                [
                    "Request-hours grow by requests times one hour.",
                    "The alarm of rogue zones comes, names the zone, and not while its importance <S_IMPORTANCE> is 0.",
                    "Both counts begin anew at <S_ROGUE_RESET>.",
                ],
            )
        )
    return tests
