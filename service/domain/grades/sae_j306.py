"""Gear oil grades of SAE J306."""

from typing import Final

from service.domain.grades.viscosity_ranges import ViscosityRange

SOURCE: Final = "SAE J306 FEB2019, from a chart of the trade; a revision of 2025 adds thinner grades"
GEAR_GRADES: Final = (
    ViscosityRange(65, 3.8, 5.0),
    ViscosityRange(70, 5.0, 6.5),
    ViscosityRange(75, 6.5, 8.5),
    ViscosityRange(80, 8.5, 11.0),
    ViscosityRange(85, 11.0, 13.5),
    ViscosityRange(90, 13.5, 18.5),
    ViscosityRange(110, 18.5, 24.0),
    ViscosityRange(140, 24.0, 32.5),
    ViscosityRange(190, 32.5, 41.0),
    ViscosityRange(250, 41.0),
)
