"""The shop keeps what questions and mistakes cost."""

from __future__ import annotations

from typing import ClassVar

from django.db import migrations, models


class Migration(migrations.Migration):
    """Adds the costs; a shop without them has the engine's."""

    dependencies: ClassVar[list[tuple[str, str]]] = [("jobs", "0001_initial")]

    operations: ClassVar[list[migrations.operations.base.Operation]] = [
        migrations.AddField(
            model_name="shoprecord",
            name="costs",
            field=models.JSONField(blank=True, default=dict),
        ),
    ]
