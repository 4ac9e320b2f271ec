"""Without the compiler: what needs none goes on, what needs it says so."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[4]
WITHOUT = "import sys; sys.modules['numba'] = None; "


def without_compiler(code: str) -> subprocess.CompletedProcess[str]:
    """Run code where numba is not installed."""
    line = [sys.executable, "-c", WITHOUT + code]
    return subprocess.run(line, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)


def test_rehearsing_names_the_extra_to_install(tmp_path: Path) -> None:
    """One line, with the extra's name; the status of unusable input."""
    done = without_compiler(
        "from dashboard.cli import main; "
        f"sys.exit(main(['rehearse', 'stall', '--days', '2', '--out', {str(tmp_path)!r}]))"
    )
    assert done.returncode == 2
    assert "pip install 'stokehold[rehearsal]'" in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_small_functions_run_as_they_are_written() -> None:
    """Density of water at 20 degrees: 998.2 kg/m3 (IAPWS-95, rounded)."""
    done = without_compiler(
        "from analysis.rehearsal.physics.water import density_kg_m3; print(density_kg_m3(20.0))"
    )
    assert abs(float(done.stdout) - 998.2) < 1.0
