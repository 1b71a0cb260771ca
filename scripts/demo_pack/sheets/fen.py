"""Invented run sheets of the fen family. They are nobody's real procedure."""

from __future__ import annotations

from demo_pack.steps import (
    AUTHORITY,
    DONE,
    EVERY_KEY,
    LAMP,
    MAKER_TOOL,
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

FEN_TURN_PAIR = make_sheet(
    "fen-turn-pair",
    "Pair a turn key, fen family",
    "present-only",
    (AUTHORITY, EVERY_KEY, SUPPLY),
    [
        *arrive("which"),
        choose(
            "which",
            "Is a key here that starts the engine today?",
            ("Yes", "two-turns", 0.75),
            ("No, none works", "call", 0.25),
        ),
        act(
            "call",
            "Connect the make's authorised equipment and open a session in the shop's name, for the job's"
            " vehicle number and with the authority on record.",
            300,
            900,
            "granted",
            fail("refused", 0.1, "access not granted"),
        ),
        wait(
            "granted",
            "Leave the session open and the ignition on until the waiting time has passed. Do not switch"
            " on lights or fan.",
            600,
            660,
            "wipe",
        ),
        act(
            "two-turns",
            "Turn the working key to on for five seconds, off for two, and on again. The lamp blinks slowly.",
            14,
            30,
            "wipe",
            fail("no-blink", 0.06, "wrong rhythm"),
            signal=signal(LAMP, 5),
            window_s=60,
        ),
        choose(
            "no-blink",
            "The lamp does not blink. Nothing has changed.",
            ("Try again", "two-turns", 0.8),
            ("Stop here", "stopped", 0.2),
        ),
        act(
            "wipe",
            "Hold the button under the instrument until the lamp goes out. From this moment no key works but"
            " those that you show next.",
            6,
            12,
            "show",
            signal=signal(LAMP),
            no_return=True,
        ),
        act(
            "show",
            "Show each key in turn, the new one first: turn to on, wait for two blinks, turn to off.",
            25,
            80,
            "count",
            fail("dark", 0.03, "a key is not read"),
            signal=signal(LAMP, 2),
            window_s=90,
        ),
        choose(
            "dark",
            "A key is not read.",
            ("Show it once more", "show", 0.9),
            ("None is read", "stranded", 0.1),
        ),
        check(
            "count",
            "Turn the new key to on. The lamp blinks once for each key it knows: compare with the keys here.",
            15,
            40,
            "start",
            fail("dark", 0.02, "the count is short"),
        ),
        try_engine("start", "good", "stranded"),
        end("good", "good", DONE),
        end(
            "refused",
            "unchanged",
            "Access was not granted. Every key works as before. Clear up the authority with"
            " the customer first.",
        ),
        stopped(),
        supply_low(),
        end(
            "stranded",
            "stranded",
            "No key starts the engine. Leave the supply connected.",
            recovery="The shop's owner opens a new session with the make's authorised equipment; if"
            " that fails, the vehicle"
            " goes by trailer to the make's own workshop at the shop's cost.",
        ),
    ],
)

FEN_PUSH_RENEW = make_sheet(
    "fen-push-renew",
    "Renew all proximity keys, fen family",
    "new-only",
    (AUTHORITY, MAKER_TOOL, SUPPLY),
    [
        *arrive("tell"),
        check(
            "tell",
            "Tell the customer: every key made before today stops working, found again or not. Have the"
            " number of new keys confirmed.",
            60,
            180,
            "session",
        ),
        act(
            "session",
            "Connect the make's authorised equipment and open a session in the shop's name, for the job's"
            " vehicle number and with the authority on record.",
            300,
            900,
            "quiet",
            fail("refused", 0.08, "access not granted"),
        ),
        wait(
            "quiet",
            "Take every old key at least three metres away. Leave the doors closed until the equipment asks"
            " to go on.",
            120,
            300,
            "renew",
        ),
        act(
            "renew",
            "Confirm in the session that all keys are to be renewed. From this moment no old key works.",
            10,
            30,
            "offer",
            fail("broken-off", 0.02, "the session broke off"),
            signal=signal(MESSAGE, 1, "ALL KEYS REMOVED"),
            no_return=True,
        ),
        act(
            "offer",
            "Lay the new key into the cup holder, its emblem upward, until the message counts one more.",
            15,
            60,
            "more",
            fail("not-seen", 0.05, "the key is not seen"),
            signal=signal(MESSAGE, 1, "KEY ADDED"),
            window_s=120,
        ),
        choose("more", "Is there another new key?", ("Yes", "offer", 0.4), ("No", "close", 0.6)),
        choose(
            "not-seen",
            "The key is not seen. Look at its coin cell, and keep the old one away from children.",
            ("Lay it in again", "offer", 0.9),
            ("It is never seen", "broken-off", 0.1),
        ),
        act("close", "Close the session, switch off, open and close the driver's door.", 20, 60, "start"),
        try_engine("start", "try-buttons", "broken-off", push=True),
        try_buttons("good", "good"),
        end("good", "good", "Done. Only the new keys work. Hand the old ones back marked as dead."),
        end(
            "refused",
            "unchanged",
            "Access was not granted. Every key works as before. Clear up the authority with"
            " the customer first.",
        ),
        supply_low(),
        end(
            "broken-off",
            "stranded",
            "The vehicle has no key now. Leave the supply and the equipment connected.",
            recovery="The shop's owner resumes the session within its hour; after that the make's"
            " hotline sets it back and"
            " the renewal is done again on the next working day.",
        ),
    ],
)

SHEETS = (
    FEN_TURN_PAIR,
    FEN_PUSH_RENEW,
)
