"""A visit without a browser: the app run by Streamlit's own test driver, on a store of its own."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from diagnostics.cases import STORE_VARIABLE, Case, CaseStore
from diagnostics.reasoning import SYMPTOMS
from diagnostics.reports import say, tell_symptom

APP = Path(__file__).parents[2] / "app.py"
SAFETY = ("real_yes", "outputs_none", "tell_people", "evidence_yes")


class Visitor:
    """One person with one page of the app; ``store`` is what it writes to."""

    def __init__(self, store: CaseStore, case_id: str = "", **address: object) -> None:
        """Open the app, at a case if one is named; ``address`` is what else the URL says."""
        self.store = store
        self.at = AppTest.from_file(str(APP), default_timeout=30)
        for name, text in (({"case": case_id} if case_id else {}) | address).items():
            self.at.query_params[name] = text
        self.run()

    def reload(self) -> "Visitor":
        """Return somebody who has reloaded the page: the same address, and nothing else left."""
        return Visitor(self.store, **dict(self.at.query_params))

    def run(self) -> None:
        """Run the page; nothing may end as a traceback."""
        self.at.run()
        assert not self.at.exception

    def tap(self, key: str) -> "Visitor":
        """Press the button whose key begins so."""
        button = next((b for b in self.at.button if b.key and b.key.startswith(key)), None)
        assert button is not None, f"no button {key}; there are {[b.key for b in self.at.button]}"
        button.click()
        self.run()
        return self

    def has(self, key: str) -> bool:
        """Return whether there is a button whose key begins so."""
        return any(b.key and b.key.startswith(key) for b in self.at.button)

    def type(self, label: str, text: str) -> "Visitor":
        """Type into the field of this label."""
        next(f for f in self.at.text_input if f.label == label).set_value(text)
        self.run()
        return self

    def choose(self, label: str, *options: str) -> "Visitor":
        """Choose as many as one likes."""
        group = next(g for g in self.at.button_group if g.label == label)
        group.set_value(list(options))
        self.run()
        return self

    def pick(self, label: str, option: object) -> "Visitor":
        """Choose exactly one."""
        next(g for g in (*self.at.button_group, *self.at.radio) if g.label == label).set_value(option)
        self.run()
        return self

    def complain(self, symptom: str) -> "Visitor":
        """Choose one complaint of the list, in whichever group it stands."""
        groups = [r for r in self.at.radio if r.key and r.key.startswith("symptom")]
        label = tell_symptom(symptom) if symptom in SYMPTOMS else say(symptom)
        next(g for g in groups if label in g.options).set_value(symptom)
        self.run()
        return self

    def reread(self, text: str = "19.1 V") -> "Visitor":
        """Type what the volts of the list after a repair read now, and record them."""
        for field in [f for f in self.at.text_input if (f.key or "").startswith("reread_")]:
            field.set_value(text)
            self.run()
            self.tap(f"test_record_{(field.key or '').removeprefix('reread_')}")
        return self

    def close(self, told: str = "the owner, by phone", by: str = "Ada") -> "Visitor":
        """Say who was told and by whom, and close the case."""
        return self.type(say("told_who"), told).type(say("closed_by"), by).tap("close_case")

    @property
    def case_id(self) -> str:
        """Return the case that the URL names."""
        found = self.at.query_params.get("case", "")
        return str(found[0] if isinstance(found, list) else found)

    @property
    def case(self) -> Case:
        """Return the case as it is in the store."""
        return self.store.load_case(self.case_id)

    @property
    def text(self) -> str:
        """Return everything written on the page, without Markdown's escapes, all spaces alike."""
        kinds = ("title", "header", "subheader", "markdown", "caption", "error", "warning", "info", "success")
        whole = "\n".join(str(e.value) for kind in kinds for e in getattr(self.at, kind))
        return whole.replace("\\", "").replace("\u00a0", " ")


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[CaseStore]:
    """Return the store that the app of this test uses."""
    url = f"sqlite:///{tmp_path / 'cases.sqlite3'}"
    monkeypatch.setenv(STORE_VARIABLE, url)
    with CaseStore(url) as found:
        yield found


@pytest.fixture
def visitor(store: CaseStore) -> Visitor:
    """Return somebody at the start."""
    return Visitor(store)


@pytest.fixture
def at_guide(visitor: Visitor) -> Visitor:
    """Return somebody at the first step of the invented case, where the finding guide leads."""
    visitor.tap("begin_demo")
    for key in SAFETY:
        visitor.tap(key)
    return visitor


@pytest.fixture
def at_work(at_guide: Visitor) -> Visitor:
    """Return somebody at the first step of the invented case, where the model leads."""
    return at_guide.tap("lead")
