"""``bittern pack export-learnt`` on a shop's data."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from bittern.bench.learning.store import DjangoLessons
from bittern.cli.main import main
from bittern.engines.key.learning import Lesson
from bittern.formats.packs import check_pack, read_pack
from bittern.work.lessons import KeptLesson
from bittern.work.ports import Desk


@pytest.mark.django_db
def test_learnt_fitments_are_written_as_a_pack(
    desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("bittern.cli.handover.open_desk", lambda data: desk)
    out = tmp_path / "own"
    assert main(["pack", "export-learnt", "--out", str(out)]) == 2
    assert "nothing learnt yet" in capsys.readouterr().err
    assert not out.exists()
    row = desk.pack.fitments[0]
    lesson = Lesson(date(2026, 1, 1), row.make, row.model, row.year_from, row.start, row.article, case=3)
    DjangoLessons().add([KeptLesson(0, 3, lesson)])
    assert main(["pack", "export-learnt", "--out", str(out)]) == 0
    assert capsys.readouterr().out == f"Wrote {out}: 1 articles, 1 fitments.\n"
    assert check_pack(out).ok
    assert [one.article for one in read_pack(out).fitments] == [row.article]
    assert main(["pack", "export-learnt", "--out", str(out)]) == 2
    assert "something already there" in capsys.readouterr().err
