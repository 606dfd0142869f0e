"""One record of a vehicle, and taking it back."""

from typing import Final

WORDS: Final = {
    "record_service_title": "Service of {vehicle}, {when}",
    "record_sample_title": "Sample of {vehicle}, {when}",
    "record_open": "Open the record",
    "record_open_of": "Open the record, {when}: {what}",
    "record_done_at": "Done",
    "record_done_by": "Done by",
    "record_note": "Note",
    "record_reference": "Number",
    "record_by": "Entered",
    "record_entered": "{who}, {when}",
    "record_work": "Work",
    "record_fluid": "Fluid",
    "record_no_fluid": "none named",
    "record_rounds": "Rounds, as measured",
    "record_rounds_amounts": "{n}: {drained} out, {filled} in",
    "record_passed": "Passed through",
    "record_old_fluid": "The old fluid",
    "record_level": "Level set at",
    "record_excess": "Excess run off",
    "record_yes": "yes",
    "record_no": "no",
    "record_override": "Set aside because",
    "record_void_title": "Is this record a mistake?",
    "record_service_follows": "Taken back, it counts no more: what it drew goes back to the shelf, the meters written "
    "with it are discarded, the fluid stands as if this work had not been done, and lines of the due list that it "
    "ticked off are open again. The record itself stays, marked as void. To put it right, take it back and record "
    "the work anew.",
    "record_sample_follows": "Taken back, it counts no more: the meters written with it are discarded and the fluid "
    "stands as if it had not been sampled. The record itself stays, marked as void. To put it right, take it back and "
    "enter the sample anew.",
    "record_reason": "Why it is a mistake",
    "record_void": "Take this record back",
    "record_back": "To the vehicle",
    "record_voided": "Void since {when}, by {who}.",
    "record_voided_why": "Reason: {reason}",
    "kept_reason": "Why it is a mistake",
    "told_voided": "The record is void; stock, meters, fluid and due list follow.",
    "event_voided_service": "A service was taken back. {voided}",
    "event_voided_sample": "A sample was taken back. {voided}",
}
