"""The use cases of a job: they join the engines and say what they need from outside as Protocols."""
