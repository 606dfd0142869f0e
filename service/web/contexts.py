"""What the small pages show; the larger ones have theirs beside what fills them, in `views`."""

from dataclasses import dataclass, field

from service.web.forms import EMPTY, FormState


@dataclass(frozen=True, slots=True, kw_only=True)
class ProblemPage:
    """Something went wrong."""

    title: str
    detail: str
    errors: tuple[str, ...] = ()
    request_number: str = ""
    retry_after: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SignInPage:
    """Login and password."""

    form: FormState = EMPTY
    next_path: str = ""
    carried: str = ""
    """What was typed before, packed and signed."""

    is_kept: bool = False
    is_lost: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkPage:
    """A one-time link that was opened."""

    code: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptField:
    """One field that was typed before signing in again."""

    name: str
    label: str
    value: str
    is_long: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SecretField:
    """One field that held a secret, which nobody kept."""

    name: str
    label: str
    is_hidden: bool
    """Not to be read over a shoulder while it is typed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPage:
    """What was typed before signing in again, to be sent now."""

    path: str
    fields: tuple[KeptField, ...]
    again: tuple[SecretField, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PasswordPage:
    """Set a password, or another one."""

    login: str
    shortest: int
    has_password: bool
    """Then it is asked for."""

    form: FormState = field(default=EMPTY)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingPage:
    """The form for a reading alone."""

    vehicle: str
    vehicle_id: str
    unit: str
    now_local: str
    may_look: bool
    form: FormState


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnReadingPage:
    """Which vehicle is it? For whoever may send readings and see nothing else."""

    organisation: str
    form: FormState


@dataclass(frozen=True, slots=True, kw_only=True)
class DriverPage:
    """The form behind a driver's link."""

    organisation: str
    vehicle: str
    unit: str
    path: str
    form: FormState


@dataclass(frozen=True, slots=True, kw_only=True)
class DriverLinkPage:
    """A driver's link that was just made; it is shown once."""

    vehicle: str
    link: str
    path: str
    qr: str
    ends: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ArticlesPage:
    """The forms for a new fluid and a new part."""

    kinds: tuple[tuple[str, str], ...]
    volume_unit: str
    currency: str
    form: FormState


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnChoice:
    """Which column of a table holds a field."""

    name: str
    label: str
    chosen: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PreviewRow:
    """One row of a table with what is wrong with it."""

    number: int
    cells: tuple[str, ...]
    errors: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StartPage:
    """The first steps."""

    n_depots: int
    n_vehicles: int
    form: FormState
    columns: tuple[ColumnChoice, ...]
    headings: tuple[tuple[str, str], ...]
    fields: tuple[str, ...]
    rows: tuple[PreviewRow, ...]
    n_sound: int
    n_rows: int
    n_stored: int | None
    needs_vehicle: bool
    """Nobody said yet in which column the number of the vehicle stands."""

    kinds: tuple[tuple[str, str], ...]
    may_change: bool
