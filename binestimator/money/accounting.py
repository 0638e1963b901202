"""Measure accounting: what a large saving is, and what codes commonly require already."""

#: A saving of so much of the HVAC energy or of the bill calls for a written reason.
LARGE_HVAC_FRAC, LARGE_BILL_FRAC = 0.5, 0.25
CODE_NOTE = (
    "Codes commonly require these resets already in new and altered systems with zone controls: supply air "
    "temperature reset in 90.1-2022 6.5.3.5 and static pressure reset in 90.1-2022 6.5.3.2.3 (clauses quoted by other "
    "public texts and from memory). The local code and the authority having jurisdiction decide: against a baseline of "
    "the code there may be nothing to save."
)
