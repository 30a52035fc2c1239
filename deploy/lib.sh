# Shared by deploy/demo and tests/run: the Python environment from the lock file.
# Sourced by bash with `root` set to the folder of the repository.

say() { printf '%s\n' "$*" >&2; }

# Prints the name of a Python 3.11, or says what to type and fails.
find_python() {
    local name
    for name in ${PYTHON:-} python3.11 python3 python; do
        if command -v "$name" >/dev/null 2>&1 &&
            "$name" -c 'import sys; sys.exit(sys.version_info[:2] != (3, 11))' 2>/dev/null; then
            printf '%s\n' "$name"
            return 0
        fi
    done
    say "Python 3.11 is needed. On Debian 12, as root: apt-get install -y python3 python3-venv"
    return 1
}

# What the environment was made from: the lock, and the place (its scripts hold absolute paths).
_lock_stamp() {
    { cat "$root/requirements.lock" && printf '%s\n' "$root"; } | sha256sum | cut -d ' ' -f 1
}

_project_stamp() { sha256sum <"$root/pyproject.toml" | cut -d ' ' -f 1; }

_fill_venv() {
    local venv=$root/.venv python
    if [ "$(cat "$venv/made-from" 2>/dev/null)" != "$(_lock_stamp)" ]; then
        python=$(find_python) || return 1
        say "making .venv from requirements.lock …"
        if ! "$python" -m venv --clear "$venv"; then
            say "On Debian, as root: apt-get install -y python3-venv"
            return 1
        fi
        "$venv/bin/pip" install -qq --disable-pip-version-check --require-hashes \
            --only-binary :all: -r "$root/requirements.lock" || return 1
        _lock_stamp >"$venv/made-from"
    fi
    if [ "$(cat "$venv/project" 2>/dev/null)" != "$(_project_stamp)" ]; then
        # Everything it needs is in the lock, so nothing is fetched for it.
        "$venv/bin/pip" install -qq --disable-pip-version-check --no-deps --no-index \
            --no-build-isolation --editable "$root" || return 1
        _project_stamp >"$venv/project"
    fi
}

# Makes .venv, or mends it if the lock, the project file or the place changed. An interrupted
# installation leaves no stamp and is made again. Two at once wait for one another.
ensure_venv() {
    if command -v flock >/dev/null 2>&1; then
        (flock 9 && _fill_venv) 9>"$root/.venv.lock"
    else
        _fill_venv
    fi
}
