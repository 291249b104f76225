# The Debian 12 packages that building, the demo and the tests need, and how to get those that are
# missing. Sourced by deploy/demo and tests/run; does nothing by itself.

# To build the programs and to play the demo. libboost1.81-dev on purpose: libboost-dev is 1.74.
DEMO_PACKAGES=(
  ca-certificates cmake g++ ninja-build ccache
  libboost1.81-dev rapidjson-dev libsqlite3-dev liblz4-dev libssl-dev libcctz-dev libtomlplusplus-dev libcli11-dev
  libgtest-dev libgmock-dev
  python3 tzdata
)

# What the tests need beyond that: linters, sanitizer runtimes, judges from outside, fault and load tools.
# shellcheck disable=SC2034  # used by tests/run
TEST_PACKAGES=(
  clang clang-tidy clang-format libclang-rt-14-dev
  libvalijson-dev json-schema-test-suite python3-jsonschema nodejs npm
  python3-venv strace wrk nginx-light openssl
  openjdk-17-jdk-headless maven
)

# package_there NAME: whether it is installed. A newer Node from elsewhere brings its own npm.
package_there() {
  case "$1" in
    nodejs) command -v node >/dev/null && return 0 ;;
    npm) command -v npm >/dev/null && return 0 ;;
  esac
  [ "$(dpkg-query -W -f='${db:Status-Abbrev}' "$1" 2>/dev/null)" = "ii " ]
}

# install_missing NAME...: installs those packages that are not there; silent when none is missing.
# Fails with a message when it may not, or when apt cannot.
install_missing() {
  local missing=() package
  for package in "$@"; do
    package_there "$package" || missing+=("$package")
  done
  [ ${#missing[@]} -gt 0 ] || return 0

  local as_root=()
  if [ "$(id -u)" -ne 0 ]; then
    if ! command -v sudo >/dev/null; then
      echo "Missing Debian packages: ${missing[*]}" >&2
      echo "Run this as root once, or install them: apt-get install ${missing[*]}" >&2
      return 1
    fi
    as_root=(sudo)
  fi
  echo "Installing missing Debian packages: ${missing[*]}"
  local log
  log=$(mktemp)
  if ! { "${as_root[@]}" apt-get update -q &&
    "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive \
      apt-get install -q -y --no-install-recommends "${missing[@]}"; } >"$log" 2>&1 </dev/null; then
    tail -n 20 "$log" >&2
    echo "apt-get could not install them; its whole output: $log" >&2
    return 1
  fi
  rm -f "$log"
}
