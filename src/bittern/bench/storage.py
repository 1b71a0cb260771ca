"""Static files under names that tell their contents, imports of the scripts among them."""

from __future__ import annotations

from django.contrib.staticfiles.storage import HashedFilesMixin
from whitenoise.storage import CompressedManifestStaticFilesStorage

# Django's own patterns of imports, with the files that they are looked for in.
_FILES, _IMPORTS = HashedFilesMixin._js_module_import_aggregation_patterns  # type: ignore[attr-defined]


class StaticStorage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]
    """Renames what a script of ours imports too: an old script never gets a part of another version."""

    support_js_module_import_aggregation = True
    # Vendored files are left as they came: one names in a comment what is not there.
    _js_module_import_aggregation_patterns = (f"bench/{_FILES}", _IMPORTS)
