package main

import (
	"flag"
	"fmt"
	"io"
	"iter"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/sacn/sacntest"
)

var kills = flag.Int("kills", 5, "how often TestKilledWhileRecording kills the program")

// A recorder records one proof after the other, as a phone does: what is not acknowledged
// is sent again, under the same word, until it is.
type recorder struct {
	name         string
	sent         int
	acknowledged []string
	again        int // answers that said: recorded before
}

func (r *recorder) record(t *testing.T, client *http.Client, over *atomic.Bool) {
	for !over.Load() {
		r.sent++
		once := fmt.Sprintf("%s-%d", r.name, r.sent)
		body := fmt.Sprintf(`{"string":%q,"verdict":"good","note":%q,"once":%q}`, []string{"gable", "roof"}[r.sent%2], "note "+once, once)
		for tries := 0; ; tries++ {
			resp, err := client.Post("http://"+address+"/api/proofs", "application/json", strings.NewReader(body))
			if err != nil {
				if over.Load() {
					return
				}
				time.Sleep(5 * time.Millisecond)
				continue
			}
			text, err := io.ReadAll(resp.Body)
			resp.Body.Close()
			if resp.StatusCode == http.StatusCreated || resp.StatusCode == http.StatusOK { // whole or torn: the status came after the disk
				if r.acknowledged = append(r.acknowledged, "note "+once); resp.StatusCode == http.StatusOK {
					r.again++
				}
				break
			}
			if err == nil {
				t.Errorf("%s is answered %d %s", body, resp.StatusCode, text)
				return
			}
		}
	}
}

// recorded is what a state directory has on record.
func recorded(t *testing.T, dir string) iter.Seq2[record.Place, *record.Line] {
	t.Helper()
	lines, err := record.OpenReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { lines.Close() })
	return lines.Lines()
}

// TestKilledWhileRecording kills a burn-in at any moment, while four clients record
// proofs: what was acknowledged is on record once, and the hours served never fall.
func TestKilledWhileRecording(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	state := t.TempDir()
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	var over atomic.Bool
	var all sync.WaitGroup
	recorders := make([]*recorder, 4)
	for i := range recorders {
		recorders[i] = &recorder{name: fmt.Sprintf("phone%d", i)}
		client := pair.Client(t, pair.Near)
		all.Go(func() { recorders[i].record(t, client, &over) })
	}
	defer func() { over.Store(true); all.Wait() }()
	served := func() (seconds float64, starts int) {
		t.Helper()
		text, err := os.ReadFile(filepath.Join(state, "burn-in.json"))
		if err != nil {
			return 0, 0 // killed before the first
		}
		var kept struct {
			Starts  int `json:"starts"`
			Strings map[string]struct {
				Served float64 `json:"served_seconds"`
			} `json:"strings"`
		}
		sacntest.JSON(t, text, &kept)
		return kept.Strings["gable"].Served, kept.Starts
	}
	start := func() *sacntest.Program {
		return pair.Start(t, pair.Near, "burn-in", burnInPlan, "--no-scan", "--state", state)
	}
	began, most := time.Now(), 0.0
	for n := range *kills {
		prog := start()
		if n%3 > 0 { // else while it starts
			prog.Says(2*time.Minute, "page and metrics")
		}
		time.Sleep(time.Duration(r.Int64N(int64(400 * time.Millisecond))))
		prog.Signal(syscall.SIGKILL)
		prog.Wait(20 * time.Second)
		if said := prog.Stderr(); strings.Contains(said, "panic") || strings.Contains(said, "DATA RACE") || strings.Contains(said, "makes no sense") {
			t.Errorf("it says %s", said)
		}
		now, _ := served()
		if now < most || now > time.Since(began).Seconds() {
			t.Errorf("kill %d: %v s served, and before %v s, in %v", n, now, most, time.Since(began))
		}
		most = now
	}
	prog := start()
	sacntest.Eventually(t, 60*time.Second, "recording", func() bool {
		return strings.Contains(pair.Get(t, pair.Near, "http://"+address+"/readyz"), "ready")
	})
	time.Sleep(200 * time.Millisecond)
	over.Store(true)
	all.Wait()
	prog.Stop()

	times := map[string]int{}
	for _, line := range recorded(t, state) {
		if line.Kind == record.Proof {
			times[line.Note]++
		}
	}
	sent, kept, again := 0, 0, 0
	for _, r := range recorders {
		sent, kept, again = sent+r.sent, kept+len(r.acknowledged), again+r.again
		for _, note := range r.acknowledged {
			if times[note] != 1 {
				t.Errorf("%s was acknowledged and is on record %d times", note, times[note])
			}
		}
	}
	if kept < 4 || len(times) > sent || len(times) < kept {
		t.Errorf("%d proofs were sent, %d acknowledged, %d are on record", sent, kept, len(times))
	}
	now, starts := served()
	if now < most || starts > *kills+1 {
		t.Errorf("%v s served, and before %v s; %d starts", now, most, starts)
	}
	t.Logf("seed %d: %d kills in %v, %d proofs acknowledged, %d of them when sent again; %.1f s served in %d starts",
		seed, *kills, time.Since(began).Round(time.Second), kept, again, now, starts)
}
