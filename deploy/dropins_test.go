//go:build linux

package deploy

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// TestDropIns: with the drop-ins, as a package brings them, and their flags, the
// hardened service sends by packet sockets and may ask for real-time priority; without
// them it says what it lacks.
func TestDropIns(t *testing.T) {
	t.Parallel()
	deb := debFile(t)
	m := boot(t, deb)
	m.run("dpkg", "--install", "/root/"+filepath.Base(deb))
	plan := sacntest.Read(t, "../testdata/burn-in.yaml")
	m.write("/etc/yardproof/plan.yaml", plan)

	m.write("/etc/default/yardproof", "OPTIONS=--realtime\n")
	m.run("systemctl", "start", "yardproof")
	sacntest.Eventually(t, 20*time.Second, "a warning", func() bool {
		return strings.Contains(m.journal(), "frames are sent without real-time priority")
	})
	m.run("systemctl", "stop", "yardproof")

	m.write("/etc/default/yardproof", "OPTIONS=--send packet\n")
	_ = m.command("systemctl", "start", "yardproof").Run() // it fails: the journal tells why
	sacntest.Eventually(t, 20*time.Second, "a refusal", func() bool {
		return strings.Contains(m.journal(), "with the drop-in send-packet.conf")
	})
	_ = m.command("systemctl", "reset-failed", "yardproof").Run()

	m.write("/etc/default/yardproof", "OPTIONS=--send packet --realtime\n")
	m.run("mkdir", "-p", "/etc/systemd/system/yardproof.service.d")
	for _, name := range []string{"send-packet", "realtime"} {
		text := output(t, "cat", filepath.Join(unpacked(t), "usr/share/doc/yardproof/examples", name+".conf"))
		m.write("/etc/systemd/system/yardproof.service.d/"+name+".conf", text)
	}
	m.run("systemctl", "daemon-reload")
	m.run("systemctl", "start", "yardproof")
	sacntest.Eventually(t, 20*time.Second, "frames", func() bool { return m.metric(framesSeries) > 40 })
	// Whether the kernel then obeys is its own business: one that gives each control
	// group a real-time budget (CONFIG_RT_GROUP_SCHED) gives services none.
	if got := m.show("yardproof", "LimitRTPRIO") + " " + m.show("yardproof", "RestrictRealtime"); got != "1 no" {
		t.Errorf("real-time limit and restriction: %s", got)
	}
	if got := strings.Fields(m.show("yardproof", "SystemCallFilter")); !slices.Contains(got, "sched_setattr") || slices.Contains(got, "sched_setscheduler") {
		t.Errorf("system calls that are let through: %q", got)
	}
	if got := m.run("sh", "-c", "grep -c . /proc/net/packet"); got < "2" {
		t.Errorf("no packet socket is open: %s", m.run("cat", "/proc/net/packet"))
	}
}
