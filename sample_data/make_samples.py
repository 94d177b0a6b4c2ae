"""Make the sample scans in this folder again. Run with the environment in which lowrelief is installed."""

from pathlib import Path

from core.scenario import write_demo

for path in write_demo(Path(__file__).parent):
    print(path)
