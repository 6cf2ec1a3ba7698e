#!/bin/sh
# Makes the Debian package for this machine's kind: build-package/torpor_VERSION_ARCHITECTURE.deb.
# Equal sources give equal packages.
#   sh deploy/package.sh
set -eu
cd "$(dirname "$0")/.."

. tests/packages.sh
packages="$packages dpkg-dev"
install_packages

# A release says what it changes.
tag=$(git describe --tags --match 'v[0-9]*' --exact-match 2>/dev/null || true)
if [ -n "$tag" ] && ! head -n 1 deploy/debian/changelog | grep -qF "(${tag#v})"; then
  echo "deploy/debian/changelog begins with: $(head -n 1 deploy/debian/changelog); expected an entry for $tag" >&2
  exit 1
fi

# The time of the newest change, not of the build.
SOURCE_DATE_EPOCH=${SOURCE_DATE_EPOCH:-$(git log -1 --format=%ct 2>/dev/null || date +%s)}
export SOURCE_DATE_EPOCH

cmake -S . -B build-package -G Ninja -DTORPOR_TESTS=OFF -DCMAKE_UNITY_BUILD=ON \
  -DCMAKE_UNITY_BUILD_BATCH_SIZE=12 -DCMAKE_CXX_FLAGS="-ffile-prefix-map=$PWD=."
cmake --build build-package
(cd build-package && cpack -G DEB)
echo "made build-package/$(cd build-package && ls -t torpor_*.deb | head -n 1)"
