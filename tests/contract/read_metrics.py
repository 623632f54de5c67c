"""Reads metrics on standard input with the reader of the format's makers, and prints the samples as JSON.

A text that is not right is an error. Labels but those of single figures are left out: `name{label=value}`.
"""

import json
import sys

from prometheus_client.parser import text_string_to_metric_families

samples = {}
helps = {}
for family in text_string_to_metric_families(sys.stdin.read()):
    helps[family.name] = family.documentation
    for sample in family.samples:
        labels = ",".join(f"{name}={value}" for name, value in sorted(sample.labels.items()))
        name = f"{sample.name}{{{labels}}}" if labels else sample.name
        if name in samples:
            sys.exit(f"{name} comes twice")
        samples[name] = sample.value
json.dump({"samples": samples, "help": helps}, sys.stdout)
