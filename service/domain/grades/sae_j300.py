"""Engine oil grades of SAE J300. The thin grades overlap, so a viscosity belongs to a set of grades."""

from typing import Final

from service.domain.grades.viscosity_ranges import ViscosityRange

SOURCE: Final = "SAE J300 JAN2015, as printed on two pages of the trade"
HOT_GRADES: Final = (
    ViscosityRange(8, 4.0, 6.1),
    ViscosityRange(12, 5.0, 7.1),
    ViscosityRange(16, 6.1, 8.2),
    ViscosityRange(20, 6.9, 9.3),
    ViscosityRange(30, 9.3, 12.5),
    ViscosityRange(40, 12.5, 16.3),
    ViscosityRange(50, 16.3, 21.9),
    ViscosityRange(60, 21.9, 26.1),
)
