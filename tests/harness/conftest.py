"""For all tests of commands: whatever is answered in JSON fits the one table of keys."""

from __future__ import annotations

import json
from collections.abc import Iterator

import jsonschema
import pytest
from forelight.harness.terminal import answers

JUDGE = jsonschema.Draft202012Validator(answers.schema())


def leaves(error: jsonschema.ValidationError) -> Iterator[jsonschema.ValidationError]:
    """What is wrong in the end."""
    if not error.context:
        yield error
    for inner in error.context or ():
        yield from leaves(inner)


@pytest.fixture(autouse=True)
def answers_fit_the_table(monkeypatch: pytest.MonkeyPatch) -> None:
    real = answers.versioned

    def judged(answer: object) -> object:
        whole = real(answer)
        errors = JUDGE.iter_errors(json.loads(json.dumps(whole)))
        wrong = [leaf.message[-200:] for error in errors for leaf in leaves(error)]
        unknown = [said for said in wrong if "dditional properties" in said]  # these tell most
        assert not wrong, "; ".join(sorted(set(unknown or wrong)))[:900]
        return whole

    monkeypatch.setattr(answers, "versioned", judged)
