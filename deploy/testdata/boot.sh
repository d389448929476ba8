#!/bin/bash
# Boots this machine's own systemd as process 1 over a throw-away overlay of the
# root file system, in namespaces of its own but for the network's. Run it as
#   unshare --mount --pid --fork --kill-child --cgroup --uts --ipc boot.sh DIRECTORY FILE ...
# The files are put into /root of the overlay. Nothing outside changes.
set -eu
base=$1
shift
mount --make-rprivate /
mount -t tmpfs t "$base"
mkdir -p "$base"/{root,up,work,files}
r=$base/root
mount -t overlay o -o "lowerdir=/,upperdir=$base/up,workdir=$base/work" "$r"
mount -t proc proc "$r/proc"
mount -t sysfs sys "$r/sys"
mount -t cgroup2 c "$r/sys/fs/cgroup"
mount --rbind /dev "$r/dev"
mount -t tmpfs t "$r/run"
for f in "$@"; do cp "$f" "$r/root/"; done
mount -t tmpfs t "$r/tmp"
# A chroot would do but for one thing: the kernel makes no user namespace in it,
# and PrivateUsers= needs one.
mkdir "$r/run/old"
cd "$r"
pivot_root . run/old
umount -l /run/old
export container=test
exec /lib/systemd/systemd --system --unit=basic.target --log-target=journal --show-status=0
