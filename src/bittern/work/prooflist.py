"""The tests that a finished key must pass: they follow from the article, the vehicle and the pairing."""

from __future__ import annotations

from dataclasses import dataclass

from bittern.work.facts import JobFile

BUTTON_WORDS = {
    "lock": "Press lock from five steps away: every door locks.",
    "unlock": "Press unlock: the driver's door opens.",
    "boot": "Press boot: the boot lid opens.",
    "panic": "Press panic: the alarm sounds; press again: it stops.",
    "start": "Press start with the vehicle locked and out of gear: it starts; stop it again.",
}


@dataclass(frozen=True, slots=True)
class ProofTest:
    """One test: a stable id, what to do and what must happen, and a caution where one belongs."""

    id: str
    say: str
    caution: str = ""


def list_tests(job: JobFile) -> tuple[ProofTest, ...]:
    """Return the tests of ``job``; empty before an article is chosen."""
    key = job.key
    if key is None:
        return ()
    tests = [
        ProofTest(f"button-{button}", BUTTON_WORDS.get(button, f"Press {button}: the vehicle answers."))
        for button in key.buttons
    ]
    start = job.vehicle.start if job.vehicle else ""
    proximity = key.kind == "proximity"
    if key.blade:
        with_what = "The emergency blade" if proximity else "The blade"
        tests.append(
            ProofTest("lock-door", f"{with_what} turns freely in the driver's door lock, both ways.")
        )
        if start == "turn":
            tests.append(
                ProofTest("lock-ignition", "The blade turns through every position of the ignition lock.")
            )
    if key.kind not in ("mechanical", "remote"):
        tests.append(
            ProofTest(
                "start",
                "The vehicle starts with this key alone in it.",
                "Parking brake on, out of gear; indoors the engine runs only with the exhaust led outside.",
            )
        )
    if proximity:
        tests.append(
            ProofTest("flat-start", "With the remote's battery out, the vehicle starts by its back-up place.")
        )
        if key.blade:
            tests.append(
                ProofTest(
                    "flat-open",
                    "The spare opens the vehicle when its own battery is flat: by the blade alone.",
                )
            )
    if key.battery:
        tests.append(
            ProofTest(
                "cell",
                "The battery compartment is closed and its screw or latch is tight.",
                "A coin cell that is swallowed can kill: keep new and used ones away from children.",
            )
        )
    if job.pairing is not None:
        tests += [
            ProofTest(f"other-{position}", f"{entry.name} still starts the vehicle.")
            for position, entry in enumerate(job.pairing.census_after, start=1)
            if entry.present and not entry.new and entry.works_after
        ]
    return tuple(tests)
