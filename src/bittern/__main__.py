"""``python -m bittern`` is the ``bittern`` command."""

from bittern.cli.main import run

run()
