"""Checks of the fan: its motor, nameplate and measured point against one another."""

from __future__ import annotations

from binestimator.errors import Finding
from binestimator.inputs.problems import Problems
from binestimator.units import FAN_CFM_INWC_PER_HP, HORSEPOWER_KW

#: Fan input per airflow seen in practice [kW/cfm]; assumption. Twice beyond it is an error.
KW_PER_CFM_LOW, KW_PER_CFM_HIGH = 0.0002, 0.003
#: Power above nameplate by more than this factor is taken for a mistake.
NAMEPLATE_FACTOR = 1.25


def fan_findings(project, problems: Problems) -> list[Finding]:
    """Errors go to ``problems``; returns what is merely unusual."""
    fan, cfm = project.fan, project.air_handler.design_cfm
    findings: list[Finding] = []
    air_hp_per_cfm = fan.design_total_inwc / FAN_CFM_INWC_PER_HP
    input_kw_per_cfm = (
        air_hp_per_cfm
        * HORSEPOWER_KW
        / (fan.efficiency_frac * fan.belt_efficiency_frac * fan.motor_efficiency_frac * fan.drive_efficiency_frac)
    )
    if input_kw_per_cfm > KW_PER_CFM_HIGH or input_kw_per_cfm < KW_PER_CFM_LOW:
        findings.append(
            Finding(
                "check",
                "fan",
                f"The design point of the fan takes {input_kw_per_cfm:.5f} kW/cfm; {KW_PER_CFM_LOW} to "
                f"{KW_PER_CFM_HIGH} "
                "is usual. Check design_total_inwc and the efficiencies.",
            )
        )
    if cfm is not None and fan.motor_hp is not None:
        bhp = cfm * air_hp_per_cfm / (fan.efficiency_frac * fan.belt_efficiency_frac)
        if bhp > NAMEPLATE_FACTOR * fan.motor_hp:
            problems.add(
                "fan.motor_hp",
                f"the design point needs {bhp:.1f} hp at the shaft (design_cfm x design_total_inwc / "
                "(6356 x efficiency_frac x belt_efficiency_frac)), more than the motor gives",
                fan.motor_hp,
                f"at least {bhp / NAMEPLATE_FACTOR:.1f} hp",
                "enter the nameplate output of all supply fan motors together, and check airflow, pressure and "
                "efficiency",
                involves=(
                    "air_handler.design_cfm",
                    "fan.design_total_inwc",
                    "fan.efficiency_frac",
                    "fan.belt_efficiency_frac",
                ),
            )
        elif bhp > fan.motor_hp:
            findings.append(
                Finding(
                    "check",
                    "fan.motor_hp",
                    f"The design point needs {bhp:.1f} hp at the shaft, more than the {fan.motor_hp:g} hp of the "
                    "motor.",
                )
            )
        elif bhp < 0.3 * fan.motor_hp:
            findings.append(
                Finding(
                    "check",
                    "fan.motor_hp",
                    f"The design point needs only {bhp:.1f} hp of the {fan.motor_hp:g} hp of the motor; "
                    "check airflow, pressure and nameplate.",
                )
            )
    return findings + _measured_fan(project, problems)


def _measured_fan(project, problems: Problems) -> list[Finding]:
    fan = project.fan
    findings: list[Finding] = []
    names = ("measured_cfm", "measured_total_inwc", "measured_kw")
    paths = tuple(f"fan.{name}" for name in names)
    missing = [name for name in names if getattr(fan, name) is None]
    if len(missing) == 3:
        return findings
    if missing:
        problems.add(
            "fan",
            f"measured point without {' and '.join(missing)}",
            expected="all three measured values or none",
            do="give the missing value or remove the others",
            involves=paths,
        )
    if fan.measured_kw is not None and fan.motor_hp is not None:
        nameplate_kw = fan.motor_hp * HORSEPOWER_KW / fan.motor_efficiency_frac
        if fan.measured_kw > NAMEPLATE_FACTOR * nameplate_kw:
            problems.add(
                "fan.measured_kw",
                f"above what a motor of {fan.motor_hp:g} hp can take: output against input power "
                f"(the nameplate is output, {nameplate_kw:.1f} kW of input at full load)",
                fan.measured_kw,
                f"at most {NAMEPLATE_FACTOR * nameplate_kw:.1f} kW",
                "check that motor_hp is the nameplate output of all supply fan motors and measured_kw the input of "
                "the same",
                involves=(*paths, "fan.motor_hp", "fan.motor_efficiency_frac"),
            )
    if fan.measured_kw is None or fan.measured_cfm is None:
        return findings
    kw_per_cfm = fan.measured_kw / fan.measured_cfm
    if not KW_PER_CFM_LOW / 2 <= kw_per_cfm <= KW_PER_CFM_HIGH * 2:
        problems.add(
            "fan.measured_kw",
            f"{kw_per_cfm:.6f} kW/cfm at the measured point is out of reach",
            fan.measured_kw,
            f"{KW_PER_CFM_LOW} to {KW_PER_CFM_HIGH} kW/cfm",
            "check the units of measured_kw and measured_cfm",
            involves=paths,
        )
    elif not KW_PER_CFM_LOW <= kw_per_cfm <= KW_PER_CFM_HIGH:
        findings.append(
            Finding(
                "check",
                "fan.measured_kw",
                f"{kw_per_cfm:.5f} kW/cfm at the measured point; {KW_PER_CFM_LOW} to {KW_PER_CFM_HIGH} is usual.",
            )
        )
    if fan.measured_total_inwc is not None:
        air_kw = fan.measured_cfm * fan.measured_total_inwc / FAN_CFM_INWC_PER_HP * HORSEPOWER_KW
        if air_kw >= fan.measured_kw:
            problems.add(
                "fan.measured_kw",
                f"the air at the measured point carries {air_kw:.2f} kW: efficiency above 1",
                fan.measured_kw,
                f"more than {air_kw:.2f} kW",
                "check the measured airflow, pressure and power",
                involves=paths,
            )
        elif air_kw > 0.85 * fan.measured_kw:
            findings.append(
                Finding(
                    "check",
                    "fan.measured_kw",
                    f"The measured point means an efficiency of {air_kw / fan.measured_kw:.0%} from the drive to the "
                    "air; "
                    "fan, belt, motor and drive together rarely pass 75 %.",
                )
            )
    return findings
