//go:build unix

package systemd

import (
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// manager is the other end, which hears only when it is read, and a notifier to it.
func manager(t *testing.T, name string) (*net.UnixConn, *Notifier) {
	t.Helper()
	socket, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: name, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { socket.Close() })
	t.Setenv("NOTIFY_SOCKET", name)
	n, err := FromEnvironment()
	if err != nil {
		t.Fatal(err)
	}
	return socket, n
}

func TestNotify(t *testing.T) {
	for _, name := range []string{filepath.Join(t.TempDir(), "notify"), "@yardproof-notify-test"} {
		if name[0] == '@' && monotonic() == 0 {
			continue // only Linux has abstract names
		}
		socket, n := manager(t, name)
		n.Ready()
		n.Status("%d universes\nat %d Hz", 3, 40)
		n.Reloading()
		n.Alive()
		n.Stopping()
		buf := make([]byte, 256)
		for _, want := range []string{"READY=1", "STATUS=3 universes at 40 Hz", "RELOADING=1\nMONOTONIC_USEC=", "WATCHDOG=1", "STOPPING=1"} {
			size, err := socket.Read(buf)
			if err != nil {
				t.Fatal(err)
			}
			if got := string(buf[:size]); !strings.HasPrefix(got, want) {
				t.Errorf("%s heard %q, want %q", name, got, want)
			}
		}
	}
}

func TestNobodyListens(t *testing.T) {
	t.Setenv("NOTIFY_SOCKET", "")
	n, err := FromEnvironment()
	if n != nil || err != nil {
		t.Fatalf("without NOTIFY_SOCKET: %v, %v", n, err)
	}
	n.Ready() // and does not panic
	t.Setenv("NOTIFY_SOCKET", "/nowhere/at/all")
	if _, err := FromEnvironment(); err == nil {
		t.Error("a socket that is not there was accepted")
	}
}

func TestWatchdogInterval(t *testing.T) {
	for _, tt := range []struct {
		usec, pid string
		want      time.Duration
	}{
		{"30000000", "", 15 * time.Second}, // WatchdogSec=30: a ping each 15 s
		{"30000000", "1", 0},
		{"", "", 0}, {"x", "", 0}, {"-5", "", 0},
	} {
		t.Setenv("WATCHDOG_USEC", tt.usec)
		t.Setenv("WATCHDOG_PID", tt.pid)
		if got := WatchdogInterval(); got != tt.want {
			t.Errorf("%+v: %v", tt, got)
		}
	}
}

// A manager that takes nothing more holds nobody up: more is said than its queue holds,
// and each call comes back.
func TestStalledManager(t *testing.T) {
	_, n := manager(t, filepath.Join(t.TempDir(), "notify"))
	told := make(chan struct{})
	go func() {
		defer close(told)
		for range 100000 { // until one waits
			begun := time.Now()
			n.Status("%s", strings.Repeat("x", 200))
			if time.Since(begun) >= patience {
				return
			}
		}
		t.Error("the queue never was full")
	}()
	select {
	case <-told:
	case <-time.After(60 * time.Second):
		t.Error("it waits for ever")
	}
}
