import pytest


@pytest.mark.ngspice
def test_ngspice_is_there(ngspice: str) -> None:
    assert ngspice
