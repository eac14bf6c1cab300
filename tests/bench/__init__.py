"""Speed and size, each figure beside a reference that is measured in the same run: `python -m tests.bench`."""
