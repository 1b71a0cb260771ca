"""The Key leg asks: what a question is worth, what does not go together, what the customer is sent."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from html import unescape
from typing import Any
from urllib.parse import parse_qs, unquote, urlsplit

import pytest
from django.test import Client
from django.urls import reverse

from bittern.bench.jobs.drafts import find_drafts
from bittern.bench.pages import questions
from bittern.bench.pages.keywords import KIND_WORDS
from bittern.bench.pages.legs import key
from bittern.engines.key.evidence import KINDS
from bittern.engines.key.identification import Ask, Identification, Stop
from bittern.engines.key.questions import QUESTIONS
from bittern.formats.where_to_look import PICTURES
from bittern.work.asking import CUSTOMER_QUESTIONS, compose_message
from bittern.work.key import weigh
from bittern.work.ports import Desk
from tests.bench.pages.journey import REQUEST, carry, find_inputs, read_words
from tests.conftest import Cast

LogIn = Callable[[Any], Client]
Weigh = Callable[[Desk, Any], Identification]


def make_ask(kind: str, saving: float, cost: float, p_settles: float = 0.4) -> Ask:
    return Ask(kind, saving, cost, p_settles, QUESTIONS[kind].text, QUESTIONS[kind].where)


def fake(monkeypatch: pytest.MonkeyPatch, **changes: Any) -> None:
    """Let the weighing of the page say something else in these parts."""
    real: Weigh = weigh
    monkeypatch.setattr(key, "weigh", lambda desk, job: replace(real(desk, job), **changes))


def do(client: Client, number: int, act: str, **fields: Any) -> Any:
    return client.post(f"/jobs/{number}/do/{act}/", fields)


def observe(client: Client, number: int, **fields: Any) -> None:
    assert do(client, number, "observe", **fields).status_code == 302


# Worth


def test_the_question_says_what_it_saves_and_what_it_costs(
    cast: Cast, log_in: LogIn, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = carry(desk, "vehicle")
    pays, may = make_ask("fcc_id", 12.345, 3.0, 0.634), make_ask("blade", 0.4, 3.0, 0.2)
    fake(monkeypatch, ask=(pays, may), considered=(pays, may, make_ask("chip", 0.1, 6.0, 0.0)))
    words = read_words(log_in(cast.counter).get(f"/jobs/{number}/"))
    currency = desk.pack.currency
    assert "The answer settles it with a chance of 63 %." in words
    said = f"It is expected to save 12.35 {currency}; asking costs 3.00 {currency} (3 min)."
    assert words.index(said) < words.index("Also worth asking") < words.index(KIND_WORDS["blade"])
    assert (
        f"save 0.40 {currency}; asking costs 3.00 {currency} (3 min). On average that does not pay." in words
    )
    folded = words.index("Not worth asking now")
    assert folded < words.index(f"save 0.10 {currency}; asking costs 6.00 {currency} (6 min). On average")


def test_the_lead_question_explains_itself_by_what_the_likeliest_would_answer(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry(desk, "vehicle")
    found = weigh(desk, desk.store.load(number))
    asked = questions.sort_questions(desk, desk.store.load(number), found)
    assert asked.lead is not None
    for one in (asked.lead, *asked.others):
        if one.kind == "button_count":
            top = desk.pack.articles[found.candidates[0].article]
            assert f"{top.article}" in one.why
            assert f": {len(top.buttons)}" in one.why
    assert asked.lead.why in read_words(log_in(cast.counter).get(f"/jobs/{number}/"))


def test_every_open_question_can_be_answered_once_wherever_it_stands(
    cast: Cast, log_in: LogIn, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = carry(desk, "vehicle")
    one = make_ask("start", 5.0, 0.5)
    fake(monkeypatch, ask=(one,), considered=(one, make_ask("chip", 0.1, 6.0)))
    page = log_in(cast.counter).get(f"/jobs/{number}/")
    kinds = [field["value"] for field in find_inputs(page, name="kind")]
    assert sorted(kinds) == sorted(KINDS)


def test_why_it_stopped_and_what_the_next_question_would_be_worth_stand_under_the_article(
    cast: Cast, log_in: LogIn, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = carry(desk, "vehicle")
    best = make_ask("chip", 0.25, 6.0, 0.0)
    stop = Stop("nothing-pays", "No question is worth what it costs any more.", best)
    article = weigh(desk, desk.store.load(number)).candidates[0].article
    fake(monkeypatch, settled=True, order=article, ask=(), considered=(best,), stop=stop)
    words = read_words(log_in(cast.counter).get(f"/jobs/{number}/"))
    said = (
        "No question is worth what it costs any more. The best question left, “Chip”, is expected to save"
        f" 0.25 {desk.pack.currency} and costs 6.00 {desk.pack.currency}."
    )
    assert words.index(f"Take {article}") < words.index(said) < words.index("Known so far")


def test_the_worth_of_the_best_question_left_is_said_once(
    cast: Cast, log_in: LogIn, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = carry(desk, "vehicle")
    best = make_ask("chip", 0.25, 6.0, 0.0)
    stop = Stop("nothing-pays", "No further question pays: the best left, the chip, would save 0.25.", best)
    fake(monkeypatch, settled=True, order=None, ask=(), considered=(best,), stop=stop)
    words = read_words(log_in(cast.counter).get(f"/jobs/{number}/"))
    assert "No further question pays. The best question left, “Chip”, is expected to save 0.25" in words
    assert "the best left, the chip" not in words


@pytest.mark.parametrize("outcome", [{"settled": True, "order": None}, {"settled": False, "order": None}])
def test_why_it_stopped_is_said_without_an_article_too(
    outcome: dict[str, Any], cast: Cast, log_in: LogIn, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = carry(desk, "vehicle")
    fake(monkeypatch, ask=(), stop=Stop("nothing-left", "Everything was asked."), **outcome)
    assert "Everything was asked." in read_words(log_in(cast.counter).get(f"/jobs/{number}/"))


# Conflicts

CONFLICT = "The frequency and the identifier cannot both be right; most likely it is another's remote."


def test_a_conflict_stands_above_the_question_and_can_be_struck_there(
    cast: Cast, log_in: LogIn, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    client, number = log_in(cast.counter), carry(desk, "vehicle")
    observe(client, number, kind="fcc_id", value="KX4HM22", how="seen")
    observe(client, number, kind="button_count", value="3", how="seen")
    observe(client, number, kind="frequency_hz", mhz="433.92", how="measured")
    fake(monkeypatch, conflicts=(CONFLICT,))
    page = client.get(f"/jobs/{number}/")
    words, html = read_words(page), page.content.decode()
    assert words.index(CONFLICT) < words.index("Known so far")
    box = html.split('class="ask-conflict"')[1].split("</section>")[0]
    # The two that take part, and no third.
    assert re.findall(r'name="position" value="(\d)"', box) == ["1", "3"]
    assert 'class="error"' not in html
    assert 'role="alert"' not in html
    assert html.index('class="ask-conflict"') < html.index('class="question"')
    assert html.count('id="do-next"') == 1
    assert 'id="do-next"' in html.split('class="ask-conflict"')[1].split(">")[0]
    do(client, number, "strike-observation", position="3")
    assert [one.kind for one in desk.store.load(number).observations] == ["fcc_id", "button_count"]


def test_a_conflict_that_names_nothing_known_offers_all_that_was_observed() -> None:
    known: list[dict[str, object]] = [{"kind": "chip"}, {"kind": "blade"}]
    assert questions.find_struck(known, "This cannot be.") == known
    assert questions.find_struck(known, "The blade belongs elsewhere.") == [{"kind": "blade"}]


def test_without_a_conflict_there_is_no_word_of_one(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    page = log_in(cast.counter).get(f"/jobs/{carry(desk, 'vehicle')}/").content.decode()
    assert "ask-conflict" not in page
    assert page.count('id="do-next"') == 1


# The customer


def find_sheet(page: Any, kind: str) -> str:
    """Return the part of the page from which the customer is asked for ``kind``."""
    found = [
        part.split("</details>")[0]
        for part in page.content.decode().split('class="ask-customer"')[1:]
        if f'id="message-{kind}"' in part.split("</details>")[0]
    ]
    assert len(found) == 1, kind
    return str(found[0])


@pytest.mark.parametrize("kind", KINDS)
def test_what_a_customer_can_answer_can_be_sent_and_nothing_else(
    kind: str, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry(desk, "vehicle")
    page = log_in(cast.counter).get(f"/jobs/{number}/")
    if kind not in CUSTOMER_QUESTIONS:
        assert f'id="message-{kind}"' not in page.content.decode()
        return
    sheet = find_sheet(page, kind)
    message = compose_message(desk.terms, desk.store.load(number), kind)
    assert unescape(sheet.split("<textarea")[1].split(">", 1)[1].split("</textarea>")[0]) == message.text
    links = [unescape(one) for one in re.findall(r'href="([^"]+)"', sheet)]
    sms, mail = (next(link for link in links if link.startswith(scheme)) for scheme in ("sms:", "mailto:"))
    assert urlsplit(sms).path == REQUEST["phone"].replace(" ", "")
    assert unquote(urlsplit(sms).query.removeprefix("body=")) == message.text
    fields = parse_qs(urlsplit(mail).query, strict_parsing=True)
    assert urlsplit(mail).path == ""
    assert fields == {"subject": [message.subject], "body": [message.text.replace("\n", "\r\n")]}
    assert PICTURES[kind].words in unescape(sheet)
    assert "<svg" in sheet
    picture = reverse("where-to-look", args=[kind])
    assert picture in links
    if CUSTOMER_QUESTIONS[kind].caution:
        assert 'class="caution"' in sheet


def test_without_a_telephone_number_the_message_has_no_receiver(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry(desk, "vehicle", phone="")
    assert 'href="sms:?body=' in find_sheet(log_in(cast.counter).get(f"/jobs/{number}/"), "fcc_id")


def test_a_question_sent_is_seen_to_wait_in_the_leg_on_today_and_in_the_log(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    client, number = log_in(cast.counter), carry(desk, "vehicle")
    assert do(client, number, "question-sent", question="fcc_id").status_code == 302
    page = client.get(f"/jobs/{number}/")
    words = read_words(page)
    assert "Waiting for the customer's answer" in words
    assert "(sent by calla)" in words
    assert "Record the customer's answer when it comes." in words
    assert "The customer's answer" in read_words(client.get("/"))
    assert "Asked the customer: “FCC identifier”." in read_words(client.get(f"/jobs/{number}/log/"))
    # The answer comes from the customer: that is what the form proposes.
    form = page.content.decode().split('name="kind" value="fcc_id"')[1].split("</form>")[0]
    assert re.search(r'value="read-aloud" selected', form)
    observe(client, number, kind="fcc_id", value="KX4HM22", how="photographed")
    assert "Waiting for the customer" not in read_words(client.get(f"/jobs/{number}/"))


def test_a_question_that_no_customer_can_answer_is_refused_in_words(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    client, number = log_in(cast.counter), carry(desk, "vehicle")
    answer = do(client, number, "question-sent", question="chip")
    assert answer.status_code == 422
    assert "expected one of those below" in read_words(answer)
    assert desk.store.load(number).asked == ()


@pytest.mark.parametrize("kind", CUSTOMER_QUESTIONS)
def test_the_picture_is_a_file_that_a_messenger_takes(kind: str, cast: Cast, log_in: LogIn) -> None:
    answer = log_in(cast.counter).get(reverse("where-to-look", args=[kind]))
    assert answer["Content-Type"] == "image/png"
    assert answer.content.startswith(b"\x89PNG\r\n\x1a\n")


@pytest.mark.parametrize("kind", ["chip", "frequency_hz", "nothing"])
def test_there_is_no_picture_of_what_no_customer_is_asked(kind: str, cast: Cast, log_in: LogIn) -> None:
    assert log_in(cast.counter).get(reverse("where-to-look", args=[kind])).status_code == 404


# Drafts and lists


def test_each_question_keeps_a_draft_of_its_own(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    client, number = log_in(cast.counter), carry(desk, "vehicle")
    draft = reverse("draft", args=[number, "observe"])
    client.post(draft, {"kind": "fcc_id", "value": "KX4", "how": "told"})
    client.post(draft, {"kind": "button_count", "value": "4", "how": "told"})

    def read_value(page: Any, kind: str) -> str:
        found = [one for one in find_inputs(page, tag="input", name="value") if one["id"].endswith(kind)]
        return found[0]["value"]

    page = client.get(f"/jobs/{number}/")
    assert (read_value(page, "fcc_id"), read_value(page, "button_count")) == ("KX4", "4")
    # A mistake in one shows that one as it was sent and keeps the other.
    page = do(client, number, "observe", kind="button_count", value="many", how="seen")
    assert page.status_code == 422
    assert (read_value(page, "fcc_id"), read_value(page, "button_count")) == ("KX4", "many")
    observe(client, number, kind="button_count", value="4", how="seen")
    assert list(find_drafts(number, "calla")) == ["observe:fcc_id"]
    assert read_value(client.get(f"/jobs/{number}/"), "fcc_id") == "KX4"


def test_a_list_can_be_tapped_where_a_telephone_shows_none(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "vehicle")
    found = weigh(desk, desk.store.load(number))
    html = log_in(cast.counter).get(f"/jobs/{number}/").content.decode()
    for into, wanted in (
        ("f-observe-value-chip", {article.chip for article in desk.pack.articles.values() if article.chip}),
        ("f-choose-article-article", {one.article for one in found.candidates}),
    ):
        assert html.count(f'id="{into}"') == 1
        row = html.split(f'data-taps="{into}"')[1].split("</div>")[0]
        assert set(re.findall(r'<button type="button" value="([^"]+)"', row)) == wanted
