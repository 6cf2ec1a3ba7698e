#!/bin/sh
# The Debian package in a Debian of its own (debootstrap, needs root): lintian has nothing to say
# but what is explained here; it installs with what it depends on, its commands run, it is upgraded,
# removed and purged, and leaves nothing behind. No service manager runs in there: that the unit
# starts is for tests/unit_file.sh and tests/system/service_manager_test.cpp.
#   sh tests/package.sh
set -eu
cd "$(dirname "$0")/.."

. tests/packages.sh
packages="$packages debootstrap lintian"
install_packages
sh deploy/package.sh
package=$(ls -t build-package/torpor_*.deb | head -n 1)

# Two builds of the same sources are the same bytes.
first=$(sha256sum "$package" | cut -d' ' -f1)
rm -rf build-package
sh deploy/package.sh >/dev/null
[ "$first" = "$(sha256sum "$package" | cut -d' ' -f1)" ] || { echo "the package is not reproducible"; exit 1; }

# Explained: no bug of the Debian project is closed by a package that is not in Debian, and the team
# has no public mail address.
lintian --allow-root --fail-on error,warning "$package" --suppress-tags \
  initial-upload-closes-no-bugs,bogus-mail-host,bogus-mail-host-in-debian-changelog

root=$(mktemp -d)
clean_up() { rm -rf --one-file-system "$root"; }
trap clean_up EXIT
trap 'exit 1' INT TERM
mirror=$(sed -n 's/^URIs: *//p; s/^deb \(\[[^]]*\] \)\{0,1\}\([^ ]*\).*/\2/p' /etc/apt/sources.list.d/*.sources /etc/apt/sources.list 2>/dev/null | head -n 1)
debootstrap --variant=minbase bookworm "$root" "$mirror" >"$root.log" 2>&1 || { tail "$root.log"; exit 1; }
cp -a /etc/apt/apt.conf.d/. "$root/etc/apt/apt.conf.d/"
cp "$package" "$root/torpor.deb"
inside() { chroot "$root" env DEBIAN_FRONTEND=noninteractive LC_ALL=C PATH=/usr/sbin:/usr/bin:/sbin:/bin "$@"; }

inside find / -xdev -not -path '/var/*' -not -path '/tmp/*' | sort >"$root.before"
inside apt-get update -qq
inside apt-get install -y -qq --no-install-recommends /torpor.deb >/dev/null
inside torpord --version
inside torpord --config /etc/torpor/torpor.yaml --check
inside torpor --help >/dev/null
secret_is_roots() { [ "$(inside stat -c '%a %U %G' /etc/torpor/broker.secret)" = "600 root root" ]; }
secret_is_roots
inside sh -c 'chown root:torpor /etc/torpor/broker.secret; chmod 640 /etc/torpor/broker.secret'    # as it was before
inside sh -c 'echo "# kept" >>/etc/torpor/torpor.yaml && echo secret >/etc/torpor/broker.secret'
inside sh -c 'mkdir -p /var/lib/torpor && echo history >/var/lib/torpor/history.sqlite3'
inside dpkg -i --force-confold /torpor.deb >/dev/null     # an upgrade
inside grep -q '# kept' /etc/torpor/torpor.yaml
inside grep -q secret /etc/torpor/broker.secret
secret_is_roots
inside dpkg -r torpor >/dev/null
[ -e "$root/var/lib/torpor/history.sqlite3" ]
inside dpkg -P torpor >/dev/null
for left in /etc/torpor /var/lib/torpor /usr/bin/torpord /usr/lib/systemd/system/torpord.service; do
  [ ! -e "$root$left" ] || { echo "left behind: $left"; exit 1; }
done
echo "the package installs, upgrades, is removed and purged cleanly"
