"""The use of cutters on Django's models, the same on SQLite and PostgreSQL."""

from __future__ import annotations

from datetime import datetime

from django.db.models import F

from bittern.bench.cuttings.models import CutterUseRecord
from bittern.work.cutter_use import CutterUse


class DjangoUses:
    """Counts what cutters do; implements :class:`bittern.work.cutter_use.UseStore`."""

    def add(self, cutter: str, minutes: float) -> None:
        """Count one cut more; two at once lose none."""
        CutterUseRecord.objects.get_or_create(cutter=cutter)
        rows = CutterUseRecord.objects.filter(cutter=cutter)
        rows.update(cuts=F("cuts") + 1, minutes=F("minutes") + minutes)

    def look(self, cutter: str, person: str, at: datetime) -> None:
        """Begin to count anew."""
        found = {"cuts": 0, "minutes": 0.0, "looked_at": at, "looked_by": person}
        CutterUseRecord.objects.update_or_create(cutter=cutter, defaults=found)

    def find(self, cutter: str) -> CutterUse:
        """Return what the cutter has done since its last look."""
        row = CutterUseRecord.objects.filter(cutter=cutter).first()
        if row is None:
            return CutterUse(cutter)
        return CutterUse(cutter, row.cuts, row.minutes, row.looked_at, row.looked_by)
