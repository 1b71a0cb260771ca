"""What is wrong with an entry, in the words of the form that it was typed into."""

from __future__ import annotations

import re
from collections.abc import Mapping

from bittern.work.errors import FieldsError

# As the labels say; a field of several forms stands under "act/field" where its label differs.
_WORDS = {
    "want": "What is wanted",
    "customer": "Customer's name",
    "phone": "Telephone",
    "documents": "Papers seen",
    "holder": "Name that the papers show",
    "caution": "Local rules",
    "vin": "Vehicle number",
    "year": "Model year",
    "start": "How it starts",
    "value": "The answer",
    "mhz": "The answer",
    "how": "How do you know",
    "keys": "How many keys there are",
    "accepted_by": "Who agreed",
    "accepted_how": "How it was agreed",
    "accepted_because": "Reason to accept it in doubt",
    "accept_because": "Reason to believe a doubtful reading",
    "reading": "The reading",
    "edges": "Which edge is A",
    "dpi": "The scanner's pixels per inch",
    "picture": "The picture",
    "keep": "Keep this picture",
    "sd_mm": "The caliper's plus-minus",
    "eyes": "Eye protection",
    "clothes": "Nothing loose near the cutter",
    "held": "The blank clamped",
    "speed_rpm": "Spindle speed",
    "feed_mm_min": "Feed",
    "pass_mm": "Depth of a pass",
    "material": "What the blank is of",
    "cutter_life_min": "Look at a cutter after",
    "risk_percent": "Risk of a wrong verdict",
    "guard": "The guard",
    "record-inspection/result": "How does it measure",
    "record-inspection/note": "What went wrong",
    "answer-test/note": "What happened instead",
    "number": "Number that stands on the vehicle",
    "volts": "Voltage at the battery",
    "accept-number/because": "How does it come that the number is another",
    "needs": "Ready",
    "pairing-event/note": "Why",
    "pairing-event/present": "Who is at the vehicle?",
    "give_up": "The tick",
    "sure": "The tick",
    "choose-article/because": "Why this one",
    "refuse-article/why": "What showed it",
    "refuse-article/note": "More about it",
    "pair-otherwise/because": "Who paired it, and by which procedure",
    "withdraw/because": "Why does the job end here",
    "keys_handed": "Keys handed over",
    "payment_reference": "Payment reference",
    "signed_by": "Name of the person who signs",
    "strokes": "Signature",
    "on_paper": "Printed sheet signed",
    "reason": "Why do you look",
    "remove-picture/reason": "Why is it no longer needed",
    "weigh_by": "What else tells how likely each is",
    "drop-ladder/because": "Why do the ladders end",
}
_CHOICES = re.compile(r"expected one of: [^;]*\.$")


def name_entry(act: str, field: str) -> str:
    """Return a field's name for the list of what is wrong.

    >>> name_entry("open-job", "want"), name_entry("begin-pairing", "key-2-name")
    ('What is wanted', 'Key 2 name')
    """
    word = _WORDS.get(f"{act}/{field}") or _WORDS.get(field)
    return word or field.replace("_", " ").replace("-", " ").capitalize()


def list_sentences(error: FieldsError) -> Mapping[str, str]:
    """Return for each wrong field what is wrong with it, a line a fault.

    The values of a choice are the program's; on a page the words beside the field say what they are.
    """
    lines: dict[str, list[str]] = {}
    for fault in error.faults:
        sentence = _CHOICES.sub(
            "expected one of those below.", f"Found {fault.found}; expected {fault.expected}."
        )
        lines.setdefault(fault.where, []).append(sentence)
    return {name: "\n".join(found) for name, found in lines.items()}


def shorten_sentence(sentence: str) -> str:
    r"""Return the first line, and how many more stand beside the field.

    >>> shorten_sentence("Found 1; expected 2.\nFound 3; expected 4.")
    'Found 1; expected 2. And 1 more, beside the field.'
    """
    first, *more = sentence.split("\n")
    return f"{first} And {len(more)} more, beside the field." if more else first
