"""Bills of twelve months beside what is modelled, with the statistics of ASHRAE Guideline 14."""

from __future__ import annotations

import numpy as np

from ..dataclass import dataclass

#: Limits of a calibrated model by months. [share]
NMBE_FRAC, CV_RMSE_FRAC = 0.05, 0.15
#: Parameters p in the denominators n - p: 1 for a model that is not fitted by regression.
PARAMETERS = 1
SOURCE = "ASHRAE Guideline 14-2014, monthly: NMBE within 5 %, CV(RMSE) within 15 %; n - 1 in the denominators"
NOT_RECONCILED = "Not reconciled with bills"


def nmbe(measured, modelled, parameters: int = PARAMETERS):
    """Normalised mean bias error, sum(measured - modelled) / ((n - p) mean measured). [-]

    Positive: the model is low. ``measured``, ``modelled`` (n,) or (n, ...).
    """
    m, s = np.asarray(measured, dtype=float), np.asarray(modelled, dtype=float)
    return (m - s).sum(axis=0) / ((len(m) - parameters) * m.mean(axis=0))


def cv_rmse(measured, modelled, parameters: int = PARAMETERS):
    """Coefficient of variation of the root mean square error, sqrt(sum((m - s)^2) / (n - p)) / mean measured. [-]"""
    m, s = np.asarray(measured, dtype=float), np.asarray(modelled, dtype=float)
    return np.sqrt(((m - s) ** 2).sum(axis=0) / (len(m) - parameters)) / m.mean(axis=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciled:
    """Bills of one energy beside the model.

    ``key`` annual figure · ``label``, ``unit`` · ``measured``, ``air_handler``, ``other`` (12,) by month, ``other`` all
    else on the meter, None where it is not given: then nothing can be said of the model · ``usd`` (12,) or None.
    """

    key: str
    label: str
    unit: str
    measured: np.ndarray
    air_handler: np.ndarray
    other: np.ndarray | None
    usd: np.ndarray | None

    @property
    def modelled(self) -> np.ndarray | None:
        """Air handler and all else. (12,)"""
        return None if self.other is None else self.air_handler + self.other

    @property
    def nmbe_frac(self) -> float | None:
        """See :func:`nmbe`."""
        return None if self.modelled is None else float(nmbe(self.measured, self.modelled))

    @property
    def cv_rmse_frac(self) -> float | None:
        """See :func:`cv_rmse`."""
        return None if self.modelled is None else float(cv_rmse(self.measured, self.modelled))

    @property
    def within(self) -> bool:
        """Whether both statistics are within the limits of the guideline."""
        return (
            self.nmbe_frac is not None
            and self.cv_rmse_frac is not None
            and abs(self.nmbe_frac) <= NMBE_FRAC
            and self.cv_rmse_frac <= CV_RMSE_FRAC
        )

    @property
    def exceeds(self) -> bool:
        """Whether the air handler alone takes more than the bill in some month."""
        return bool((self.air_handler > self.measured * (1.0 + 1e-9)).any())


def reconcile(project, monthly) -> tuple[Reconciled, ...]:
    """Bills of a project beside the months of its baseline.

    Parameters
    ----------
    project : Project
    monthly : DataFrame
        Of the baseline, as ``CandidateResult.monthly``.
    """
    bills = project.terms.bills
    out = []
    for key, label, unit, billed, other, usd in (
        (
            "electricity_kwh",
            "Electricity",
            "kWh",
            bills.electricity_kwh,
            bills.other_electricity_kwh,
            bills.electricity_usd,
        ),
        ("fuel_therm", "Fuel", "therm", bills.fuel_therm, bills.other_fuel_therm, bills.fuel_usd),
    ):
        if billed is None or not sum(billed):
            continue
        as_array = lambda values: None if values is None else np.asarray(values, dtype=float)
        out.append(
            Reconciled(
                key=key,
                label=label,
                unit=unit,
                measured=np.asarray(billed, dtype=float),
                air_handler=monthly[key].to_numpy(dtype=float),
                other=as_array(other),
                usd=as_array(usd),
            )
        )
    return tuple(out)


def reconciled_words(found: tuple[Reconciled, ...]) -> str:
    """Whether the model is reconciled with bills, in a sentence without its full stop."""
    if not found:
        return NOT_RECONCILED
    if any(each.exceeds for each in found):
        what = ", ".join(each.label.lower() for each in found if each.exceeds)
        return f"{NOT_RECONCILED}: in some month the air handler alone is above the bill ({what})"
    known = [(each, each.nmbe_frac, each.cv_rmse_frac) for each in found]
    known = [(each, bias, spread) for each, bias, spread in known if bias is not None and spread is not None]
    if not known:
        return f"{NOT_RECONCILED}: bills are given, but not what else is on their meters (bills.other_electricity_kwh)"
    parts = [
        f"{each.label.lower()} NMBE {100.0 * bias:+.1f} %, CV(RMSE) {100.0 * spread:.1f} %"
        for each, bias, spread in known
        if bias is not None and spread is not None
    ]
    whole = all(each.within for each, _, _ in known)
    start = "Reconciled with bills by month" if whole else f"{NOT_RECONCILED} within Guideline 14"
    return f"{start}: {'; '.join(parts)}"
