"""Rehearsals at the bench: run sheets done against a simulated vehicle; nothing of it touches a job."""
