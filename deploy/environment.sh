# Sourced by the scripts beside it: finds the project and makes its Python environment when needed.
# The environment is .venv in the project, or the folder that BUOYSIDE_VENV names.

set -euo pipefail

project=$(cd -- "$(dirname -- "${BASH_SOURCE[0]}")/.." && pwd -P)
venv=${BUOYSIDE_VENV:-$project/.venv}
python=$venv/bin/python

export PTB_TIMEDELTA=true
# -P below keeps the caller's folder off the path: a folder of theirs named bot is none of ours.
export PYTHONPATH=$project

give_up() {
    printf '%s: %s\n' "${0##*/}" "$1" >&2
    exit 1
}

# The newest Python here that is new enough.
find_python() {
    local found
    for found in python3 python3.14 python3.13 python3.12 python3.11; do
        if command -v "$found" >/dev/null 2>&1 &&
            "$found" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; then
            printf '%s\n' "$found"
            return
        fi
    done
    give_up 'Python 3.11 or newer is missing; on Debian 12 or later: apt install python3 python3-venv'
}

# What an environment of this project has to hold; a changed list or pin makes it anew.
fingerprint() {
    cat "$project/pyproject.toml" "$project/deploy/constraints.txt" | sha256sum | cut -d ' ' -f 1
}

# The requirements of the project and of the extras that are named, one a line.
requirements() {
    "$python" - "$project/pyproject.toml" "$@" <<'END'
import sys, tomllib
from pathlib import Path

project = tomllib.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))["project"]
lines = list(project["dependencies"])
for extra in sys.argv[2:]:
    lines += project["optional-dependencies"][extra]
print("\n".join(lines))
END
}

# need_environment [EXTRA]: make or complete the environment, once; later starts only read a stamp.
need_environment() {
    local extra=${1:-} wanted stamp base
    wanted=$(fingerprint)
    stamp=$venv/stamp${extra:+-$extra}
    if [ -x "$python" ] && [ "$(cat "$stamp" 2>/dev/null)" = "$wanted" ]; then
        return
    fi
    # Two first starts at once would install into each other: the second waits, then finds the stamp.
    exec 9<"$project/pyproject.toml"
    flock 9
    if [ -x "$python" ] && [ "$(cat "$stamp" 2>/dev/null)" = "$wanted" ]; then
        exec 9<&-
        return
    fi
    if ! "$python" -m pip --version >/dev/null 2>&1; then
        base=$(find_python)
        "$base" -c 'import ensurepip, venv' >/dev/null 2>&1 ||
            give_up "a part of Python is missing; on Debian: apt install python3-venv"
        printf 'Setting up Python packages in %s (once)\n' "$venv" >&2
        "$base" -m venv --clear "$venv" >&2 ||
            give_up "no environment could be made in $venv; on Debian: apt install python3-venv"
    fi
    requirements ${extra:+"$extra"} >"$venv/requirements.txt"
    "$python" -m pip install --quiet --disable-pip-version-check --no-input \
        --constraint "$project/deploy/constraints.txt" --requirement "$venv/requirements.txt" >&2 ||
        give_up 'the packages could not be installed: is the package index reachable?'
    # With an extra, what the bot alone needs is there as well.
    printf '%s\n' "$wanted" | tee "$stamp" >"$venv/stamp"
    exec 9<&-
}
