package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/patterns"
	"yardproof/sacn/sacntest"
)

var stormTime = flag.Duration("storm", 5*time.Second, "for how long TestStorm goes on")

// A stormer asks for anything at all, and notes what it asked for and when.
type stormer struct {
	t      *testing.T
	client *http.Client

	mu     sync.Mutex
	asked  []asked
	counts map[int]int // answers by status; 0: none came
	noted  int
	onDisk []string // notes that were acknowledged
}

// asked is one request that the judge must know of.
type asked struct {
	what       string // "dark", "resume" or "white"
	sent, over time.Time
	answered   bool
	kept       bool          // dark: on disk
	hold       time.Duration // white
}

// ask sends a request, and returns what was answered when that was a success.
func (s *stormer) ask(method, path, body string) (answer []byte, ok bool) {
	req, err := http.NewRequest(method, "http://"+address+path, strings.NewReader(body))
	if err != nil {
		s.t.Error(err)
		return nil, false
	}
	if method == http.MethodPost {
		req.Header.Set("Content-Type", "application/json")
	}
	status := 0
	if resp, err := s.client.Do(req); err == nil {
		status = resp.StatusCode
		answer, err = io.ReadAll(resp.Body)
		resp.Body.Close()
		ok = err == nil && (status == http.StatusOK || status == http.StatusCreated)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.counts[status]++
	if status >= 500 {
		s.t.Errorf("%s %s %s: %d, %s", method, path, body, status, answer)
	}
	return answer, ok
}

func (s *stormer) note(a asked) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.asked = append(s.asked, a)
}

func (s *stormer) dark() {
	a := asked{what: "dark", sent: time.Now()}
	text, ok := s.ask(http.MethodPost, "/api/dark", "{}")
	a.over, a.answered = time.Now(), ok
	var in struct{ Hold *struct{ Kept *bool } }
	a.kept = ok && json.Unmarshal(text, &in) == nil && in.Hold != nil && in.Hold.Kept != nil && *in.Hold.Kept
	s.note(a)
}

func (s *stormer) resume() {
	a := asked{what: "resume", sent: time.Now()}
	_, a.answered = s.ask(http.MethodPost, "/api/resume", "{}")
	a.over = time.Now()
	s.note(a)
}

func (s *stormer) show(pattern, strings string, level, hold float64) {
	a := asked{what: "white", sent: time.Now(), hold: time.Duration(hold * float64(time.Second))}
	_, a.answered = s.ask(http.MethodPost, "/api/show", fmt.Sprintf(`{"pattern":%q,"strings":[%s],"level_percent":%v,"hold_seconds":%v}`, pattern, strings, level, hold))
	a.over = time.Now()
	if pattern == "full-white" {
		s.note(a)
	}
}

func (s *stormer) prove(name string) {
	s.mu.Lock()
	s.noted++
	note := fmt.Sprintf("proof %d of the storm", s.noted)
	s.mu.Unlock()
	if _, ok := s.ask(http.MethodPost, "/api/proofs", fmt.Sprintf(`{"string":%s,"verdict":"good","note":%q}`, name, note)); ok {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.onDisk = append(s.onDisk, note)
	}
}

// kept: what was acknowledged is on record once, whatever was killed since.
func (s *stormer) kept(dir string) {
	times := map[string]int{}
	for _, line := range recorded(s.t, dir) {
		if times[line.Note]++; line.Kind == record.Proof && times[line.Note] > 1 {
			s.t.Errorf("%s is on record %d times", line.Note, times[line.Note])
		}
	}
	for _, note := range s.onDisk {
		if times[note] == 0 {
			s.t.Errorf("%s was acknowledged and is not on record", note)
		}
	}
	if len(s.onDisk) == 0 {
		s.t.Error("no proof was recorded")
	}
}

// whiteAtTimes are patterns that light every pixel of a string white for a moment.
var whiteAtTimes = map[string]bool{"number": true, "ramp": true, "code": true}

// any sends one request of any kind.
func (s *stormer) any(r *rand.Rand, mayResume, noOtherWhite bool) {
	names := []string{`"roof"`, `"eaves"`, `"rail"`, `"gable"`}
	switch n := r.IntN(100); {
	case n == 0 && r.IntN(10) == 0: // seldom enough for something to be lit
		s.dark()
	case n < 4 && mayResume:
		s.resume()
	case n < 60:
		all := patterns.All()
		pattern := all[r.IntN(len(all))].Name
		if r.IntN(3) == 0 {
			pattern = "full-white"
		}
		if noOtherWhite && whiteAtTimes[pattern] || pattern == patterns.Dark && r.IntN(40) > 0 { // dark cuts short what waits for its turn
			pattern = "walk"
		}
		r.Shuffle(len(names), func(i, j int) { names[i], names[j] = names[j], names[i] })
		s.show(pattern, strings.Join(names[:r.IntN(5)], ","), float64(r.IntN(101)), 0.2+r.Float64()/2)
	case n < 70:
		s.ask(http.MethodPost, "/api/show", []string{`{`, `{"pattern":"full-white","level_percent":1e9}`, `{"pattern":"glare"}`, `[]`, ``}[r.IntN(5)])
	case n < 75:
		s.prove(names[r.IntN(4)])
	case n < 80:
		s.ask(http.MethodPost, "/api/looks", `{"note":"a storm"}`)
	default:
		s.ask(http.MethodGet, []string{"/api/state", "/api/plan", "/metrics", "/api/proofs", "/last-day"}[r.IntN(5)], "")
	}
}

// life is one run of the program.
type life struct {
	started, killed time.Time
	noOtherWhite    bool // nothing but full-white lit all of a string white
}

// TestStorm lets eight at once ask for anything, replaces and reloads the plan,
// kills the program and starts it again, and judges every frame at the far end by
// the plan's text alone.
func TestStorm(t *testing.T) { // alone: it is a load for whatever runs beside it
	pair := sacntest.NewPair(t)
	capture := pair.Capture(t, pair.Far)
	dir := t.TempDir()
	plan := filepath.Join(dir, "plan.yaml")
	one := sacntest.Read(t, "../../testdata/storm.yaml")
	two := strings.NewReplacer("value: 11", "value: 22", "watts: 150", "watts: 60", "fuse_amps: 5", "fuse_amps: 4", "metres: 3, fuse_amps: 7.5", "metres: 3, fuse_amps: 4").Replace(one)
	put := func(text string) {
		sacntest.Write(t, plan+".new", text)
		if err := os.Rename(plan+".new", plan); err != nil {
			t.Error(err)
		}
	}
	put(one)
	s := &stormer{t: t, client: pair.Client(t, pair.Near), counts: map[int]int{}}
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))

	var lives []life
	for end := time.Now().Add(*stormTime); len(lives) < 3 || time.Now().Before(end); {
		l := life{started: time.Now(), noOtherWhite: len(lives)%2 == 0}
		prog := pair.Start(t, pair.Near, "burn-in", plan, "--no-scan", "--state", filepath.Join(dir, "state"))
		sacntest.Eventually(t, time.Minute, "serving the page", func() bool {
			_, ok := s.ask(http.MethodGet, "/api/state", "")
			return ok
		})
		time.Sleep(300 * time.Millisecond) // for what it lights by itself to be seen
		s.resume()
		if len(lives) == 0 { // the heaviest of all, long enough to be reached
			s.show("full-white", "", 100, 3)
			time.Sleep(2500 * time.Millisecond)
		}
		s.rage(r, l.noOtherWhite, func() {
			put([]string{one, two}[r.IntN(2)])
			prog.Signal(syscall.SIGHUP)
		})
		if len(lives) == 0 || r.IntN(2) == 0 {
			s.dark()
		}
		prog.Signal(syscall.SIGKILL)
		prog.Wait(20 * time.Second)
		l.killed = time.Now()
		lives = append(lives, l)
		if said := prog.Stderr(); strings.Contains(said, "panic") || strings.Contains(said, "DATA RACE") {
			t.Errorf("it says %s", said)
		}
	}
	s.kept(filepath.Join(dir, "state"))
	rows := capture.Fields("udp.dstport == 5568 && !icmp && !icmpv6", "frame.time_epoch", "udp.payload")
	j := &stormJudge{t: t, asked: s.asked, lives: lives}
	j.judge(rows)
	t.Logf("%d starts, answers by status %v, %d proofs acknowledged; %d packets, %d frames, %d of them lit, %d all white; at most %.3f of a limit; %d times dark was to stay, %d packets then",
		len(lives), s.counts, len(s.onDisk), len(rows), j.frames, j.lit, j.white, j.most, j.darks, j.inDark)
	if j.lit == 0 || j.white == 0 || j.darks == 0 || j.inDark == 0 || j.most < 0.5 || s.counts[http.StatusOK] < 50 {
		t.Error("this was no storm")
	}
}

// rage is a second or so of eight who ask for anything, and of reload after reload.
func (s *stormer) rage(r *rand.Rand, noOtherWhite bool, reload func()) {
	length := time.Duration(900+r.IntN(900)) * time.Millisecond
	end := time.Now().Add(length)
	noMore := end.Add(-time.Duration(r.Int64N(int64(length)))) // from here on, dark stays
	var wg sync.WaitGroup
	for range 8 {
		own := rand.New(rand.NewPCG(r.Uint64(), r.Uint64()))
		wg.Go(func() {
			for time.Now().Before(end) {
				s.any(own, time.Now().Before(noMore), noOtherWhite)
			}
		})
	}
	gap := 100 + r.IntN(1000) // milliseconds; a reload shows dark until what waits has its turn
	for time.Now().Before(end) {
		time.Sleep(time.Duration(r.IntN(gap)) * time.Millisecond)
		reload()
	}
	wg.Wait()
}

// marks of the two plans, and what their text allows.
type allowed struct{ roof, rail, feeder, supply, controller float64 }

// The shares for continuous use are the usual 75 % of a fuse and 80 % of a supply.
var allowedBy = map[byte]allowed{
	11: {roof: 5 * 0.75, rail: 7.5 * 0.75, feeder: 7.5 * 0.75, supply: 150.0 / 12 * 0.8, controller: 6},
	22: {roof: 4 * 0.75, rail: 7.5 * 0.75, feeder: 4 * 0.75, supply: 60.0 / 12 * 0.8, controller: 6},
}

// isData and isSync read the vectors at octets 18 and 40 (clauses 5.5, 6.2.1, 6.3.1).
func isData(b []byte) bool {
	return len(b) == 638 && bytes.Equal(b[18:22], []byte{0, 0, 0, 4}) && bytes.Equal(b[40:44], []byte{0, 0, 0, 2})
}

func isSync(b []byte) bool {
	return len(b) == 49 && bytes.Equal(b[18:22], []byte{0, 0, 0, 8}) && bytes.Equal(b[40:44], []byte{0, 0, 0, 1})
}
