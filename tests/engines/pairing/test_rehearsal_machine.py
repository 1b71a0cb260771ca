"""Runner and simulated vehicle together; the study of rehearsal does the same with ten thousand actions."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

from tests.engines.pairing.rehearsal_machine import Rehearsal

TestRehearsal = Rehearsal.TestCase
TestRehearsal.settings = settings(
    max_examples=40,
    stateful_step_count=40,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
