"""Invented run sheets of the fell family. They are nobody's real procedure."""

from __future__ import annotations

from demo_pack.steps import (
    AUTHORITY,
    BEEP,
    DONE,
    EVERY_KEY,
    LAMP,
    MESSAGE,
    SUPPLY,
    act,
    arrive,
    check,
    choose,
    end,
    fail,
    make_sheet,
    signal,
    stopped,
    supply_low,
    try_buttons,
    try_engine,
    wait,
)

FELL_TURN_PAIR = make_sheet(
    "fell-turn-pair",
    "Pair a turn key, fell family",
    "present-only",
    (AUTHORITY, EVERY_KEY, SUPPLY),
    [
        *arrive("two-keys"),
        choose(
            "two-keys",
            "How many keys that start the engine are here?",
            ("Two or more", "ask-first", 0.45),
            ("One", "slow-way", 0.45),
            ("None", "no-key", 0.1),
        ),
        act(
            "ask-first",
            "Turn one working key to on and off within five seconds.",
            4,
            8,
            "ask-second",
            signal=signal(BEEP),
        ),
        act(
            "ask-second",
            "Turn the other working key to on and off within ten seconds of the first.",
            5,
            12,
            "new",
            fail("silent", 0.05, "window missed"),
            signal=signal(BEEP, 2),
            window_s=10,
        ),
        act(
            "slow-way", "Turn the working key to on and leave it there. The doors stay closed.", 5, 10, "sit"
        ),
        wait(
            "sit",
            "Wait until the beep. Nobody needs to stay in the vehicle; keep the doors closed.",
            630,
            660,
            "new",
        ),
        choose(
            "silent",
            "No beep. Nothing has changed.",
            ("Begin again", "ask-first", 0.85),
            ("Stop here", "stopped", 0.15),
        ),
        act(
            "new",
            "Turn the new key to on and leave it there until one long beep. Keys"
            " that are"
            " not shown today stop working with that beep.",
            8,
            18,
            "others",
            fail("silent-late", 0.04, "the new key is not read"),
            signal=signal(BEEP),
            no_return=True,
        ),
        act(
            "others",
            "Show every other key the same way, one after the other.",
            20,
            70,
            "start",
            fail("silent-late", 0.02, "a key is not read"),
            signal=signal(BEEP),
            window_s=120,
        ),
        choose(
            "silent-late",
            "A key is not read. The vehicle listens for two more minutes.",
            ("Show it again", "others", 0.9),
            ("Nothing is read", "stranded", 0.1),
        ),
        try_engine("start", "good", "stranded"),
        end("good", "good", DONE),
        end(
            "no-key",
            "unchanged",
            "Without a working key this sheet cannot begin. Take the make's authorised way with"
            " the authority on record.",
        ),
        stopped(),
        supply_low(),
        end(
            "stranded",
            "stranded",
            "No key starts the engine. Leave the supply connected and a door unlocked.",
            recovery="The shop's owner has the keys entered with the make's authorised equipment; two"
            " hours on site.",
        ),
    ],
)

FELL_PUSH_PAIR = make_sheet(
    "fell-push-pair",
    "Pair a proximity key, fell family",
    "present-only",
    (AUTHORITY, EVERY_KEY, SUPPLY),
    [
        *arrive("place"),
        act(
            "place",
            "Put a working key into the slot beside the wheel, its blade folded away, and press start without"
            " the brake.",
            15,
            40,
            "list",
            signal=signal(MESSAGE, 1, "KEY IN SLOT"),
        ),
        act(
            "list",
            "Hold the reset knob of the trip counter until the instrument counts the keys it knows.",
            10,
            30,
            "commit",
            fail("no-list", 0.05, "let go too early"),
            signal=signal(MESSAGE, 1, "KEYS KNOWN"),
            window_s=40,
        ),
        choose(
            "no-list",
            "The count does not come. Nothing has changed.",
            ("Try again", "list-again", 0.8),
            ("Stop here", "stopped", 0.2),
        ),
        act(
            "list-again",
            "Press start once more without the brake, then hold the knob again, longer this time.",
            20,
            45,
            "commit",
            fail("stopped", 0.1, "the count does not come"),
            signal=signal(MESSAGE, 1, "KEYS KNOWN"),
        ),
        act(
            "commit",
            "Press lock and start together until the lamp ring goes dark. From this moment only keys put"
            " into the slot will work.",
            5,
            10,
            "slot-new",
            fail("no-list", 0.03, "pressed too late"),
            signal=signal(LAMP),
            no_return=True,
        ),
        act(
            "slot-new",
            "Put the new key into the slot until the ring lights once.",
            6,
            20,
            "slot-old",
            fail("dark-ring", 0.04, "the new key is not read"),
            signal=signal(LAMP),
            window_s=45,
        ),
        act(
            "slot-old",
            "Put each of the other keys into the slot, once each.",
            12,
            50,
            "start",
            fail("dark-ring", 0.02, "a key is not read"),
            signal=signal(LAMP),
            window_s=90,
        ),
        choose(
            "dark-ring",
            "The ring stays dark. Wipe the key's contacts and try once more.",
            ("Try again", "slot-old", 0.92),
            ("No key lights the ring", "stranded", 0.08),
        ),
        try_engine("start", "try-buttons", "stranded", push=True),
        try_buttons("flat", "good"),
        check(
            "flat",
            "Take the coin cell out of the new key and keep it away from children. Open the driver's door"
            " with the blade and start from the slot, the exhaust led outside. Put the cell back.",
            90,
            240,
            "good",
        ),
        end("good", "good", DONE),
        stopped(),
        supply_low(),
        end(
            "stranded",
            "stranded",
            "No key is known. Leave the supply connected and the driver's door open.",
            recovery="The shop's owner enters the keys with the make's authorised equipment; two"
            " hours on site.",
        ),
    ],
)

SHEETS = (
    FELL_TURN_PAIR,
    FELL_PUSH_PAIR,
)
