package main

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/farend"
	"yardproof/sacn/sacntest"
)

// TestDiscoveryPagesOnTheWire sends more universes than a page of the list holds, 512
// (clause 8), and changes them by a reload: the lists at the far end are those of the plan.
func TestDiscoveryPagesOnTheWire(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	capture := pair.Capture(t, pair.Far)
	plan := filepath.Join(t.TempDir(), "pier.yaml")
	put := func(first, last int) {
		t.Helper()
		var text strings.Builder
		text.WriteString("name: Pier\nnetwork: {interface: yard0, rate: 2}\nstrings:\n")
		for u := first; u <= last; u++ {
			fmt.Fprintf(&text, "- {name: s%d, universe: %d, pixels: 10}\n", u, u)
		}
		if err := os.WriteFile(plan, []byte(text.String()), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	put(1, 520)
	prog := pair.Start(t, pair.Near, "run", plan, "--no-scan", "--state", t.TempDir())
	sacntest.Eventually(t, 60*time.Second, "sending", func() bool {
		n, _ := metricSum(t, pair.Get(t, pair.Near, "http://"+address+"/metrics"), "frames_sent_total")
		return n > 3
	})
	put(101, 1130)
	prog.Signal(syscall.SIGHUP)
	sacntest.Eventually(t, 60*time.Second, "reloaded", func() bool { return strings.Contains(prog.Stderr(), "the plan was reloaded") })
	// Listening ends well after the next list, which takes ten seconds at most (clause 4.3).
	far := pair.Start(t, pair.Far, "listen", "--interface", "yard0", "--for", "14s", "--format", "json")
	far.Wait(60 * time.Second)
	var a farend.Answer
	if err := json.Unmarshal([]byte(far.Stdout()), &a); err != nil {
		t.Fatalf("%v: %s", err, far.Stderr())
	}
	if len(a.Discovered) != 1 || len(a.Discovered[0].Universes) != 1030 || a.Discovered[0].Universes[0] != 101 || a.Discovered[0].Universes[1029] != 1130 {
		t.Errorf("listen discovers %+v", a.Discovered)
	}
	prog.Signal(syscall.SIGTERM)
	if code := prog.Wait(20 * time.Second); code != 0 {
		t.Errorf("exit %d: %s", code, prog.Stderr())
	}
	// Octet 118 is the page, 119 the last page; then the universes in their order.
	var lists [][]int
	for _, row := range capture.Fields("ip.dst == 239.255.250.214 && udp.dstport == 5568", "udp.payload") {
		b, err := hex.DecodeString(row[0])
		if err != nil || len(b) < 122 {
			t.Fatalf("%q: %v", row, err)
		}
		if b[118] == 0 {
			lists = append(lists, nil)
		}
		for at := 120; at < len(b); at += 2 {
			lists[len(lists)-1] = append(lists[len(lists)-1], int(b[at])<<8|int(b[at+1]))
		}
		if n := (len(b) - 120) / 2; n > 512 || b[118] < b[119] && n != 512 {
			t.Errorf("page %d of %d has %d universes", b[118], b[119], n)
		}
	}
	runs := func(list []int) string {
		for i := range list {
			if list[i] != list[0]+i {
				return fmt.Sprint(list)
			}
		}
		return fmt.Sprintf("%d-%d", list[0], list[len(list)-1])
	}
	if len(lists) < 2 || runs(lists[0]) != "1-520" || runs(lists[len(lists)-1]) != "101-1130" {
		t.Errorf("%d lists", len(lists))
		for _, l := range lists {
			t.Errorf("a list of %s", runs(l))
		}
	}
}
