"""What ranges say of an estimate, as records for sheets, terminal and results file.

Numbers are as found; :func:`sensible` rounds them for people and for files, so that the last digits of a machine are
seen nowhere.
"""

from __future__ import annotations

from dataclasses import replace

from ..dataclass import dataclass
from ..inputs.range_items import DEFAULT as DEFAULT
from ..inputs.range_items import EVIDENCED as EVIDENCED
from ..inputs.range_items import STATED as STATED

#: Word for what never comes, such as a payback without a saving.
NEVER = "never"
#: Where the range of an input is from (``RangedInput.basis``): the user's own, or the program's for an input that is a
#: default, that was stated without evidence, or that was measured, trended, or read off a nameplate or drawing.
OWN = "own"
#: Word for a quantity whose draws nobody asks for.
NOT_DRAWN = "not drawn"
#: What a drawn input is (``RangedInput.kind``).
PHYSICS, SETPOINTS, PLANT, PRICES, COST, REALISATION, WEATHER = (
    "physics",
    "setpoints",
    "plant",
    "prices",
    "cost",
    "realisation",
    "weather",
)
#: Where the verdict of equal service is from (``Serves.basis``): hours of draws, or the run alone.
HOURLY_DRAWS, THE_RUN = "hourly draws", "the run"

#: Quantities of an option that have percentiles (``OptionRange.quantities``): key -> (unit, what it is). Those that
#: begin with ``realised_`` count the share of the modelled saving that practice leaves; the others do not.
QUANTITIES = {
    "electricity_kwh": ("kWh/yr", "electricity of the option"),
    "fuel_therm": ("therm/yr", "fuel of the option"),
    "energy_cost_usd": ("USD/yr", "energy cost of the option"),
    "electricity_saving_kwh": ("kWh/yr", "electricity saved against the baseline"),
    "fuel_saving_therm": ("therm/yr", "fuel saved against the baseline"),
    "cost_saving_usd": ("USD/yr", "energy cost saved against the baseline"),
    "cost_saving_pct": ("%", "the same as a share of the baseline's cost in the draw"),
    "peak_saving_kw": ("kW", "demand saved in the first peak window, where the project names one or an incentive pays"),
    "implementation_cost_usd": ("USD", "cost before the incentive"),
    "incentive_usd": ("USD", "incentive"),
    "payback_years": ("yr", "simple payback before the incentive"),
    "payback_after_incentive_years": ("yr", "simple payback after the incentive"),
    "npv_usd": ("USD", "net present value"),
    "sir": ("", "savings-to-investment ratio"),
    "airr": ("1/yr", "adjusted internal rate of return"),
    "realised_cost_saving_usd": ("USD/yr", "energy cost saved as practice leaves it"),
    "realised_payback_after_incentive_years": ("yr", "simple payback after the incentive as practice leaves it"),
    "realised_npv_usd": ("USD", "net present value as practice leaves it"),
}
#: Digits that percentiles are shown with: two of the spread between P10 and P90.
SPREAD_DIGITS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantiles:
    """Percentiles of a quantity over the draws.

    ``p10, p50, p90``; None where the quantity has no value there, with the reason in ``missing`` (``NEVER`` where it
    ranks as infinite, else words such as "no cost") · ``never_frac`` share of the draws in which it never comes ·
    ``run`` value of the run itself, every input at its base value; None like a percentile.
    """

    p10: float | None
    p50: float | None
    p90: float | None
    run: float | None
    never_frac: float = 0.0
    missing: str = ""

    @property
    def spread(self) -> float | None:
        """P90 less P10; None where one of them has no value."""
        return None if self.p10 is None or self.p90 is None else self.p90 - self.p10


@dataclass(frozen=True, slots=True, kw_only=True)
class Serves:
    """Probability that an option serves the rooms as well as the baseline.

    ``probability`` share of the judged draws [0-1] · ``low``, ``high`` its 90 % interval (Clopper-Pearson), None where
    ``basis`` is ``THE_RUN``, whose verdict is 0 or 1 · ``draws`` judged.
    """

    probability: float
    low: float | None
    high: float | None
    draws: int
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Driver:
    """What one uncertain input does to the saving of an option.

    ``key`` of its ``RangedInput`` · ``label`` · ``low``, ``high`` the input at its P10 and P90, in words · ``low_usd``,
    ``high_usd`` mean saving of energy cost where the input is there and all others vary [USD/yr] · ``spread_frac``
    share of the variance of the saving that would go if the input were known [0-1] · ``basis`` of its range.
    """

    key: str
    label: str
    low: str
    high: str
    low_usd: float
    high_usd: float
    spread_frac: float
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BreakEven:
    """Electricity price at which an option is worth nothing: net present value 0, the other inputs as in the run.

    ``usd_kwh`` price, None with a tariff or where there is none · ``multiple`` of today's electricity prices, None
    where there is none · ``words`` what it says, such as "worth it above 0.062 USD/kWh" or "worth it at any price".
    """

    usd_kwh: float | None
    multiple: float | None
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OptionRange:
    """How sure the figures of one option are.

    ``id`` of the candidate · ``quantities`` by key of ``QUANTITIES`` · ``probability_best`` that it is the best: in
    each draw the least energy cost among options that serve equally, the first of those that tie; over all options
    with the baseline they sum to 1; None where nothing can be ranked · ``probability_pays_back`` that its simple
    payback after the incentive is within the owner's limit, and the same as practice leaves it; None for the baseline ·
    ``serves`` · ``drivers`` of its saving, the strongest first (tornado) · ``break_even``, None for the baseline.
    """

    id: str
    quantities: dict[str, Quantiles]
    probability_best: float | None
    probability_pays_back: float | None
    realised_probability_pays_back: float | None
    serves: Serves
    drivers: tuple[Driver, ...]
    break_even: BreakEven | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One option against another on the same draws.

    ``cost_saving_usd`` what the first saves more than the second · ``probability_more`` that it saves more [0-1].
    """

    first_id: str
    second_id: str
    cost_saving_usd: Quantiles
    probability_more: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RangedInput:
    """An uncertain input as it was drawn.

    ``key`` short name · ``label`` · ``kind`` one of the words above · ``paths`` of the inputs that it moves ·
    ``low``, ``base``, ``high`` in words with their unit, ``p10`` and ``p90`` likewise · ``distribution`` · ``basis`` of
    the range · ``status`` of the input as the project says · ``source`` of the range · ``correlated_with`` keys of
    others, with ``correlation`` of their normal scores, 0 if none · ``width_frac`` width of an own range over that of
    the range the program would take, None for others: below 1 somebody vouches for more than is usual ·
    ``default_words`` the range that the program would take, empty for others.
    """

    key: str
    label: str
    kind: str
    paths: tuple[str, ...]
    low: str
    base: str
    high: str
    p10: str
    p90: str
    distribution: str
    basis: str
    status: str
    source: str
    correlated_with: tuple[str, ...] = ()
    correlation: float = 0.0
    width_frac: float | None = None
    default_words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RangedYear:
    """A weather year that draws were made in.

    ``name`` · ``file`` name, ``station`` in words · ``own`` whether it is that of the run · ``mean_f`` outdoor air
    [degF] · ``share_frac`` probability, ``draws`` made in it · ``cost_usd`` of the baseline, and ``saving_usd`` of each
    option by id, in this year with every other input as in the run [USD/yr].
    """

    name: str
    file: str
    station: str
    own: bool
    mean_f: float
    share_frac: float
    draws: int
    cost_usd: float
    saving_usd: dict[str, float]


def years_in_words(years: tuple[RangedYear, ...]) -> str:
    """Which years took part in draws."""
    parts = [
        f"{one.name} ({one.file}, mean {one.mean_f:.1f} degF, {100.0 * one.share_frac:.0f} % of the draws)"
        for one in years
    ]
    return ", ".join(parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureNext:
    """What to measure next, for the option that ``Ranges.about_id`` names.

    ``key`` and ``label`` of the input · ``what`` to measure and how, in words · ``spread_removed_frac`` share of P90
    less P10 of the saving that would go [0-1] · ``spread_removed_usd`` the same [USD/yr].
    """

    key: str
    label: str
    what: str
    spread_removed_frac: float
    spread_removed_usd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HourlyCheck:
    """Draws of rows beside the same draws hour by hour.

    ``draws`` recomputed · ``gap_frac`` by option: root mean square of what the saving of rows is off, as a share of P90
    less P10 of the saving · ``worst_frac`` the largest of a draw and option · ``worst_id`` its option ·
    ``gap_cost_frac`` by option the root mean square as a share of the baseline's energy cost.
    """

    draws: int
    gap_frac: dict[str, float]
    worst_frac: float
    worst_id: str
    gap_cost_frac: dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class NightCheck:
    """Nights in draws: those that were chosen beside all of the year.

    ``draws`` recomputed · by option ``gap_frac`` root mean square of what the chosen nights leave of the saving, and
    ``held_frac`` of what nights held as in the run would leave, as shares of P90 less P10 of the saving.
    """

    draws: int
    gap_frac: dict[str, float]
    held_frac: dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reoptimised:
    """Optimiser setpoints found anew in some draws, where they are held in all others.

    ``id`` of the option · ``draws`` · ``mean_gain_usd`` what it saves more when set anew in each draw [USD/yr] ·
    ``spread_change_frac`` change of P90 less P10 of its saving over these draws, as a share of it.
    """

    id: str
    draws: int
    mean_gain_usd: float
    spread_change_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranges:
    """How sure an estimate is.

    ``run_id`` of these ranges: the run's with a checksum of ranges, draws and seed · ``draws`` of the model on rows ·
    ``nested`` draws of prices, plant efficiencies, cost and realisation in each of them · ``seed`` · ``coarse`` few
    draws, without hours: an indication · ``options`` in the order of the project · ``differences`` between all pairs ·
    ``inputs`` that were drawn · ``measure_next`` for ``about_id``, the option that the advice is about, None if there
    is none · ``hourly`` and ``reoptimised``, None and empty in coarse ranges · ``service_draws`` judged hour by hour ·
    ``own_frac`` share of the drawn inputs whose range is the user's own, ``default_frac`` whose input is a default ·
    ``narrow`` labels of own ranges narrower than the program's · ``notes`` what a reader has to know, in sentences ·
    ``held`` what is held in all draws, in words · ``years`` of weather from the coldest to the warmest, empty where
    draws are made in the run's alone · ``nights`` chosen ones beside all, None in coarse ranges.
    """

    run_id: str
    draws: int
    nested: int
    seed: int
    coarse: bool
    options: tuple[OptionRange, ...]
    differences: tuple[Difference, ...]
    inputs: tuple[RangedInput, ...]
    about_id: str | None
    measure_next: tuple[MeasureNext, ...]
    hourly: HourlyCheck | None
    reoptimised: tuple[Reoptimised, ...]
    service_draws: int
    own_frac: float
    default_frac: float
    narrow: tuple[str, ...]
    notes: tuple[str, ...]
    held: str
    years: tuple[RangedYear, ...] = ()
    nights: NightCheck | None = None

    def __getitem__(self, option_id: str) -> OptionRange:
        for option in self.options:
            if option.id == option_id:
                return option
        raise KeyError(option_id)

    @property
    def effective_draws(self) -> int:
        """Draws of the model times those nested in each."""
        return self.draws * self.nested

    @property
    def label(self) -> str:
        """How much to trust the percentiles, in a few words."""
        return (
            f"coarse, {self.draws} draws" if self.coarse else f"{self.draws:,} draws, {self.effective_draws:,} in all"
        )


def sensible(quantiles: Quantiles) -> Quantiles:
    """Percentiles and the run's value rounded to two digits of their spread, for people and files.

    Draws tell percentiles to about a hundredth of the spread; more digits would differ between machines.
    """
    known = [abs(v) for v in (quantiles.p10, quantiles.p50, quantiles.p90) if v is not None]
    spread = quantiles.spread
    size = spread if spread else max(known, default=0.0)
    if size <= 0.0:
        return quantiles
    places = SPREAD_DIGITS - 1 - _exponent(size)
    rounded = lambda v: None if v is None else round(v, places) + 0.0
    return replace(
        quantiles,
        p10=rounded(quantiles.p10),
        p50=rounded(quantiles.p50),
        p90=rounded(quantiles.p90),
        run=rounded(quantiles.run),
        never_frac=round(quantiles.never_frac, 3),
    )


def _exponent(value: float) -> int:
    """Power of ten of a number above 0."""
    return int(f"{value:e}".partition("e")[2])


def example_ranges(ids, baseline_id: str, *, coarse: bool = True, about_id: str | None = None) -> Ranges:
    """Made-up ranges of some options, for tests of what shows them: no figure means anything.

    Parameters
    ----------
    ids : sequence of str
        Options with the baseline, in order. The second one of those that are not the baseline never pays back.
    baseline_id : str
    coarse : bool
        Without hours, or with all that full ranges hold.
    about_id : str, optional
        Option that the advice is about; the first one that is not the baseline if not given.
    """
    others = [id_ for id_ in ids if id_ != baseline_id]
    about = about_id or (others[0] if others else None)
    zero = {key for key in QUANTITIES if "saving" in key}
    zero |= {"implementation_cost_usd", "incentive_usd", "npv_usd", "realised_npv_usd"}

    def quantiles(key, scale, base):
        if base and key in zero:
            return Quantiles(p10=0.0, p50=0.0, p90=0.0, run=0.0)
        if base and key in ("sir", "airr"):
            return Quantiles(p10=None, p50=None, p90=None, run=None, missing="no cost")
        if "payback" in key and (base or scale == 2.0):
            return Quantiles(p10=None if base else 9.0, p50=None, p90=None, run=None, never_frac=0.8, missing=NEVER)
        return Quantiles(p10=800.0 * scale, p50=1000.0 * scale, p90=1300.0 * scale, run=1010.0 * scale)

    drawn = (
        RangedInput(
            key="plug_power",
            label="Plug and process power",
            kind=PHYSICS,
            paths=("group.*.equipment_w_ft2",),
            low="x 0.5",
            base="x 1",
            high="x 1.5",
            p10="x 0.72",
            p90="x 1.28",
            distribution="triangular",
            basis=DEFAULT,
            status="default",
            source="assumption: densities are seldom measured",
            correlated_with=("lighting_power",),
            correlation=0.5,
        ),
        RangedInput(
            key="electricity_price",
            label="Price of electricity",
            kind=PRICES,
            paths=("prices.electricity_usd_kwh",),
            low="x 0.95",
            base="x 1",
            high="x 1.05",
            p10="x 0.97",
            p90="x 1.03",
            distribution="triangular",
            basis=OWN,
            status="",
            source="the project",
            width_frac=0.25,
            default_words="x 0.8 to x 1.3",
        ),
    )
    drivers = tuple(
        Driver(key=one.key, label=one.label, low=one.p10, high=one.p90, low_usd=900.0, high_usd=1150.0,
               spread_frac=share, basis=one.basis)
        for one, share in zip(drawn, (0.62, 0.2), strict=True)
    )  # fmt: skip
    options, place = [], 0.0
    for id_ in ids:
        base = id_ == baseline_id
        place += 0.0 if base else 1.0
        options.append(
            OptionRange(
                id=id_,
                quantities={key: quantiles(key, max(place, 1.0), base) for key in QUANTITIES},
                probability_best=(0.1 if others else 1.0) if base else 0.9 / len(others),
                probability_pays_back=None if base else 0.85,
                realised_probability_pays_back=None if base else 0.7,
                serves=Serves(probability=1.0, low=None, high=None, draws=0, basis=THE_RUN)
                if coarse
                else Serves(probability=0.93, low=0.9, high=0.95, draws=256, basis=HOURLY_DRAWS),
                drivers=() if base else drivers,
                break_even=None
                if base
                else BreakEven(usd_kwh=0.062, multiple=0.6, words="worth it above 0.062 USD/kWh"),
            )
        )
    return Ranges(
        run_id="0123456789ab",
        draws=128 if coarse else 2048,
        nested=8,
        seed=1,
        coarse=coarse,
        options=tuple(options),
        differences=tuple(
            Difference(
                first_id=first,
                second_id=second,
                cost_saving_usd=Quantiles(p10=-50.0, p50=100.0, p90=240.0, run=101.0),
                probability_more=0.83,
            )
            for k, first in enumerate(ids)
            for second in list(ids)[k + 1 :]
        ),
        inputs=drawn,
        about_id=about,
        measure_next=(
            MeasureNext(
                key="plug_power",
                label="Plug and process power",
                what="log the power of the panels that serve the floors for two weeks",
                spread_removed_frac=0.34,
                spread_removed_usd=170.0,
            ),
        )
        if about
        else (),
        hourly=None
        if coarse
        else HourlyCheck(
            draws=64,
            gap_frac=dict.fromkeys(others, 0.01),
            worst_frac=0.03,
            worst_id=others[0] if others else baseline_id,
            gap_cost_frac=dict.fromkeys(others, 0.0002),
        ),
        reoptimised=()
        if coarse or not others
        else (Reoptimised(id=others[-1], draws=16, mean_gain_usd=25.0, spread_change_frac=0.004),),
        service_draws=0 if coarse else 256,
        own_frac=0.5,
        default_frac=0.5,
        narrow=("Price of electricity",),
        notes=("One of two ranges is the user's own and narrower than usual: Price of electricity.",),
        held="rows, sizes that were given, nights, optimiser setpoints",
    )
