"""Settings for every test: hypothesis repeats itself exactly and minds no deadline."""

from hypothesis import HealthCheck, settings

settings.register_profile("truerun", derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("truerun")
