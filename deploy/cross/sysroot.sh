#!/bin/sh
# What a cross build needs of another architecture's Debian, in a folder: headers and libraries from
# Debian's own packages, unpacked, nothing installed. No root needed.
#   sh deploy/cross/sysroot.sh arm64 FOLDER      or armhf
set -eu
architecture=$1
mkdir -p "$2"
folder=$(cd "$2" && pwd)
here=$(cd "$(dirname "$0")/../.." && pwd)
. "$here/tests/packages.sh"

# The libraries among the build's packages, and the C and C++ library's own.
wanted="libc6-dev libstdc++-12-dev"
for package in $packages; do
  case $package in
    *-dev) wanted="$wanted $package" ;;
  esac
done

# An apt of its own: this machine's sources and keys, and no package installed yet.
apt=$folder/.apt
mkdir -p "$apt/state/lists/partial" "$apt/cache/archives/partial"
: > "$apt/status"
options="-o Dir::State=$apt/state -o Dir::State::status=$apt/status -o Dir::Cache=$apt/cache
  -o APT::Architecture=$architecture -o APT::Architectures=$architecture -o Debug::NoLocking=1
  -o APT::Sandbox::User= -o Dpkg::Post-Invoke= -o APT::Update::Post-Invoke="
# shellcheck disable=SC2086  # lists of words on purpose
{
  # An index that its mirror is renewing at this moment is missing: the others may hold all that is wanted.
  apt-get $options -qq update || echo "going on with the package indexes that could be fetched" >&2
  apt-get $options -qq -y --no-install-recommends --download-only install $wanted
}

# Merged /usr, as Debian has it.
for name in bin lib sbin; do
  mkdir -p "$folder/usr/$name"
  [ -e "$folder/$name" ] || ln -s "usr/$name" "$folder/$name"
done
for package in "$apt"/cache/archives/*.deb; do
  dpkg-deb --fsys-tarfile "$package" | tar -x --keep-directory-symlink -C "$folder"
done
rm -rf "$apt"
# Links that begin at the root begin at the folder.
find "$folder" -type l -lname '/*' | while IFS= read -r link; do
  ln -sf "$folder$(readlink "$link")" "$link"
done
echo "made $folder"
