"""faulttree: walk a technician through the tests that find why a petrol car does not drive well."""

__version__ = "1.0.0"
