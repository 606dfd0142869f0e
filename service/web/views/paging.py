"""Pages of a long list."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Pager:
    """Which part of a list is shown."""

    page: int
    n_pages: int
    start: int
    end: int

    @property
    def numbers(self) -> tuple[int, ...]:
        """Pages to offer: the first, the last and the neighbours."""
        near = {1, self.n_pages, self.page - 1, self.page, self.page + 1}
        return tuple(sorted(number for number in near if 1 <= number <= self.n_pages))


def pager_of(n_rows: int, rows_a_page: int, page: int) -> Pager:
    """Cut a list into pages; a page that is not there becomes the nearest one."""
    n_pages = max(1, -(-n_rows // rows_a_page))
    here = min(max(page, 1), n_pages)
    return Pager(page=here, n_pages=n_pages, start=(here - 1) * rows_a_page, end=here * rows_a_page)
