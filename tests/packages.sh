# The one list of Debian packages that building, testing and the demo need. Sourced, not run.
packages="cmake ninja-build g++ libboost-dev libpaho-mqttpp-dev libpaho-mqtt-dev libsqlite3-dev libzstd-dev zlib1g-dev
libspdlog-dev libyaml-cpp-dev doctest-dev libssl-dev nlohmann-json3-dev libexpected-dev
libcli11-dev libpqxx-dev pkg-config libqrencode-dev libhowardhinnant-date-dev tzdata mosquitto mosquitto-clients openssl ca-certificates"

# Installs what is missing; needs root only if something is.
install_packages() {
  missing=""
  for package in $packages; do
    dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q '^install ok installed$' ||
      missing="$missing $package"
  done
  [ -z "$missing" ] && return 0
  echo "installing:$missing"
  as_root=""
  [ "$(id -u)" -eq 0 ] || as_root="sudo"
  # A machine that has never asked its package mirror knows no package.
  $as_root env DEBIAN_FRONTEND=noninteractive apt-get update -qq
  # shellcheck disable=SC2086  # a list of words on purpose
  $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing
}
