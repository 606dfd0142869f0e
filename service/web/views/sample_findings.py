"""What a sample says, in words: limits that its values have reached, and what it did to the estimate."""

from dataclasses import dataclass
from typing import Final

from service.documents.presentation import Presentation
from service.domain.laboratory import LaboratoryProperty
from service.domain.limits import Basis
from service.engine.exchange.state import FluidState
from service.usecases.fluids.judge_sample import LimitReached, SampleFindings
from service.web.catalogue import tell, translate
from service.web.views.sample import asked_unit

DIGITS: Final = 6
OF_THE_NEW: Final = frozenset({Basis.CHANGE_FRACTION, Basis.LEFT_FRACTION})


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """Sentences about a sample, those that ask for something first."""

    limits: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    estimate: str = ""


def findings_of(findings: SampleFindings, presentation: Presentation) -> Findings:
    """Say what a sample shows."""
    before, after = findings.before, findings.after
    estimate = ""
    if before is not None and after is not None:
        estimate = translate(
            "sample_estimate",
            before=_life(before.fluid, presentation),
            after=_life(after.fluid, presentation),
        )
    return Findings(
        limits=tuple(_reached(one, presentation) for one in findings.limits),
        cautions=tuple(tell(caution) for caution in findings.cautions),
        estimate=estimate,
    )


def measured(known: LaboratoryProperty, value: float, presentation: Presentation) -> str:
    """Write a value in the unit that the form asks for, with the digits that it came with."""
    unit = asked_unit(known)
    shown = 100.0 * value if unit == "%" else value
    n_decimals = next(n for n in range(DIGITS + 1) if n == DIGITS or round(shown, n) == round(shown, DIGITS))
    return f"{presentation.number(shown, n_decimals)}\u00a0{unit}".rstrip().replace("mm2", "mm²")


def _life(fluid: FluidState, presentation: Presentation) -> str:
    spread = float(fluid.life_used_variance[0]) ** 0.5
    return f"{presentation.percent(float(fluid.life_used[0]))} ± {presentation.percent(spread)}"


def _reached(one: LimitReached, presentation: Presentation) -> str:
    limit = one.limit
    known = limit.laboratory_property

    def level(value: float) -> str:
        if limit.basis in OF_THE_NEW:
            return presentation.percent(value)
        return measured(known, value, presentation)

    return translate(
        "sample_limit",
        name=translate(f"lab_{known}"),
        value=measured(known, one.value, presentation),
        level=translate(f"sample_level_{one.level}"),
        basis=translate(
            f"sample_basis_{limit.basis}", caution=level(limit.caution), critical=level(limit.critical)
        ),
        source=tell(limit.source),
        flag=limit.flag,
    )
