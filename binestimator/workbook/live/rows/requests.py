"""Airflow that zones ask for, zone by zone."""

from __future__ import annotations

from .chain import Chain


def room_drop(satz: str) -> str:
    """Template of the heat that a cfm takes from a room at its cooling setpoint."""
    return f"{{fs}}*({{L.tc}}>{satz})*({{L.tc}}-{satz})"


def request(chain: Chain, x: str, satz: str, heats: bool = True) -> str:
    """Template of the airflow that zones ask for."""
    drop = room_drop(satz)
    least = "{L.vmin}"
    if chain.site.dual and heats:
        least += f"+{{{x}extra}}"
    return (
        f"IF({{L.qc}}<={{L.vmin}}*{drop},{least},IF({{L.qc}}>={{z.max_cfm}}*{drop},{{z.max_cfm}},"
        f"{{L.qc}}/({{fs}}*({{L.tc}}-{satz}))))"
    )


def heating_flow(chain: Chain, x: str, satz: str) -> None:
    """Airflow above the minimum while a zone of the dual maximum law heats; the heating minimum is reached over a
    band."""
    need = f"({{fs}}*{{L.vmin}}*({{L.th}}-{satz})-{{L.qh}})"
    chain.block(
        x + "band",
        "Share of the heating minimum" + chain.more(x),
        "0–1",
        f"IF({need}>0,IF({need}<{{k.heating_ramp}}*({{L.ua}}+{{fs}}*{{L.vmin}}),"
        f"{need}/({{k.heating_ramp}}*({{L.ua}}+{{fs}}*{{L.vmin}})),1),0)",
        "f3",
    )
    least = f"({{L.vmin}}+{{{x}band}}*({{L.heat_low}}-{{L.vmin}}))"
    chain.block(
        x + "extra",
        "Airflow above minimum while heating" + chain.more(x),
        "cfm",
        f"{{enabled}}*{{z.dual}}*({{{x}band}}>0)*(IF({{L.heat_air}}<{least},{least},"
        f"IF({{L.heat_air}}>{{L.heat_high}},{{L.heat_high}},{{L.heat_air}}))-{{L.vmin}})",
    )
