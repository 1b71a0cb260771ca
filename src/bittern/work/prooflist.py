"""The tests that a finished key must pass: they follow from the article, the vehicle and the pairing."""

from __future__ import annotations

from dataclasses import dataclass

from bittern.work.facts import JobFile, KeyChoice

BUTTON_WORDS = {
    "lock": "Press lock from five steps away: every door locks.",
    "unlock": "Press unlock: the driver's door opens.",
    "boot": "Press boot: the boot lid opens.",
    "panic": "Press panic: the alarm sounds; press again: it stops.",
    "start": "Press start with the vehicle locked and out of gear: it starts; stop it again.",
}


ENGINE_CAUTION = "Parking brake on, out of gear; indoors the engine runs only with the exhaust led outside."


@dataclass(frozen=True, slots=True)
class ProofTest:
    """One test: a stable id, what to do and what must happen, and a caution where one belongs."""

    id: str
    say: str
    caution: str = ""


def say_inspection(job: JobFile) -> str:
    """Return how the cut key was inspected, in a line that tells no height; nothing before it was."""
    blade = job.blade
    if blade is None or blade.inspected != "fits":
        return ""
    note = blade.inspection
    if note is None:
        return "The cut key was measured against its cutting list, by caliper."
    picture = "a scan" if note.how == "scan" else "a photo on the measuring card"
    if note.verdict != "pass":
        return f"The cut key was measured from {picture}, then by caliper where that left doubt."
    how = f"{picture}{_count_calipered(note.by_caliper)}"
    return (
        f"The cut key was measured from {how}: all {note.cuts} cuts within {note.limit_mm:g} mm,"
        f" sure to {100 * min(note.p_conform, 0.999):.1f} %."
    )


def _count_calipered(cuts: int) -> str:
    return f", {cuts} cut{'s' if cuts > 1 else ''} by caliper as well" if cuts else ""


def list_tests(job: JobFile) -> tuple[ProofTest, ...]:
    """Return the tests of ``job``; empty before an article is chosen."""
    if job.key is None:
        return ()
    start = job.vehicle.start if job.vehicle else ""
    return (
        *_list_radio(job.key),
        *_list_locks(job.key, start),
        *_list_starts(job.key),
        *_list_cell(job.key),
        *_list_others(job),
    )


def _list_radio(key: KeyChoice) -> list[ProofTest]:
    return [
        ProofTest(
            f"button-{button}",
            BUTTON_WORDS.get(button, f"Press {button}: the vehicle answers."),
            ENGINE_CAUTION if button == "start" else "",
        )
        for button in key.buttons
    ]


def _list_locks(key: KeyChoice, start: str) -> list[ProofTest]:
    if not key.blade:
        return []
    blade = "The emergency blade" if key.kind == "proximity" else "The blade"
    tests = [ProofTest("lock-door", f"{blade} turns freely in the driver's door lock, both ways.")]
    # Where nobody said how the vehicle starts, a key that is turned is tried in the ignition lock too.
    if start == "turn" or (not start and key.kind != "proximity"):
        tests.append(
            ProofTest("lock-ignition", "The blade turns through every position of the ignition lock.")
        )
    if key.kind == "proximity":
        tests.append(
            ProofTest(
                "flat-open",
                "The key opens the vehicle when its own battery is flat: battery out, by the blade alone.",
            )
        )
    return tests


def _list_starts(key: KeyChoice) -> list[ProofTest]:
    if key.kind in ("mechanical", "remote"):
        return []
    tests = [
        ProofTest(
            "start",
            "The vehicle starts with this key alone in it.",
            ENGINE_CAUTION,
        )
    ]
    if key.kind == "proximity":
        tests.append(
            ProofTest(
                "flat-start",
                "With the remote's battery out, the vehicle starts with the key at its back-up place.",
            )
        )
    return tests


def _list_cell(key: KeyChoice) -> list[ProofTest]:
    if not key.battery:
        return []
    return [
        ProofTest(
            "cell",
            "The battery compartment is closed and its screw or latch is tight.",
            "A coin cell that is swallowed can kill: keep new and used ones away from children.",
        )
    ]


def _list_others(job: JobFile) -> list[ProofTest]:
    """Return a test for each older key that should still work."""
    census = job.pairing.census_after if job.pairing else ()
    # Beside a mere remote the census may count remotes, which start nothing.
    works = "works as it did before" if job.key and job.key.kind == "remote" else "still starts the vehicle"
    return [
        ProofTest(f"other-{position}", f"{entry.name} {works}.")
        for position, entry in enumerate(census, start=1)
        if entry.present and not entry.new and entry.works_after
    ]
