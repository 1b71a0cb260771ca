"""Tests of the vehicle link, without any bus."""
