#!/bin/bash
# Resolve pyproject.toml anew into the two lock files: for running, and for running plus testing.
# Needs uv on the PATH, or its path in $UV. The lock files name packages, versions and hashes, and no host.
set -euo pipefail
cd "$(dirname "$0")/.."
compile() {
    "${UV:-uv}" pip compile pyproject.toml --quiet --universal --python-version 3.11 --generate-hashes \
        --no-header --no-emit-index-url "$@"
}
compile --output-file docker/requirements.lock
compile --group test --constraint docker/requirements.lock --output-file docker/requirements-test.lock
