package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// TestDarkUnderEveryLoad heaps one load on the other, and asks for dark under each: it is
// answered, and true, while the load is in place.
func TestDarkUnderEveryLoad(t *testing.T) { // alone: it is a load for whatever runs beside it
	y := startDarkYard(t, darkOptions{universes: 100, lines: 20_000, talk: true, manager: true, power: true})
	for _, l := range loads() {
		why := ""
		for range 10 {
			if l.begin != nil {
				l.begin(y)
			}
			y.light()
			now, err := y.dark(y.phone)
			if err != nil {
				t.Fatalf("%s: %v", l.name, err)
			}
			if now.Hold == nil || !now.Hold.Dark || now.Showing.Pattern != "dark" {
				t.Errorf("%s: dark is answered %+v", l.name, now)
			}
			if why = l.held(y, now); why == "" || !l.fades {
				break
			}
		}
		if why != "" {
			t.Errorf("%s: the load was not in place: %s", l.name, why)
		}
	}
	y.release()
	y.process.Signal(syscall.SIGTERM)
	select {
	case <-y.ended:
	case <-time.After(60 * time.Second):
		t.Error("SIGTERM does not end it")
	}
}

// BenchmarkDark prints how long an answer to dark takes with 1,000 universes, without a
// load and under each, beside the answer of a server that does nothing.
func BenchmarkDark(b *testing.B) {
	b.Run("a server that does nothing", func(b *testing.B) {
		ln := sacntest.Listen(b)
		server := &http.Server{Handler: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "{}") })}
		go server.Serve(ln)
		defer server.Close()
		timeAnswers(b, func() error {
			resp, err := http.Post("http://"+ln.Addr().String(), "application/json", strings.NewReader("{}"))
			if err != nil {
				return err
			}
			return resp.Body.Close()
		})
	})
	all := append([]load{{name: "no load", held: func(*darkYard, darkState) string { return "" }}}, loads()...)
	for _, l := range all {
		b.Run(l.name, func(b *testing.B) {
			o := l.options
			o.universes, o.lines = 1000, max(o.lines, 10)
			y := startDarkYard(b, o)
			if l.begin != nil {
				l.begin(y)
			}
			var last darkState
			timeAnswers(b, func() (err error) {
				b.StopTimer()
				y.light()
				b.StartTimer()
				last, err = y.dark(y.phone)
				return err
			})
			if why := l.held(y, last); why != "" {
				b.Fatalf("the load was not in place: %s", why)
			}
		})
	}
}

// timeAnswers reports the worst of them beside their mean.
func timeAnswers(b *testing.B, ask func() error) {
	worst := time.Duration(0)
	for b.Loop() {
		before := b.Elapsed()
		if err := ask(); err != nil {
			b.Fatal(err)
		}
		worst = max(worst, b.Elapsed()-before)
	}
	b.ReportMetric(float64(worst.Microseconds())/1000, "worst-ms")
}

// darkState is what the page says is shown.
type darkState struct {
	Hold *struct {
		Dark bool
		Kept *bool
	}
	Showing struct{ Pattern string }
	Phones  int
}

// post asks as a phone that was let in.
func (y *darkYard) post(client *http.Client, path, body string) (now darkState, err error) {
	req, err := http.NewRequestWithContext(y.t.Context(), "POST", "http://"+darkPage+path, strings.NewReader(body))
	if err != nil {
		return now, err
	}
	req.Header.Set("Content-Type", "application/json")
	req.AddCookie(y.cookie)
	resp, err := client.Do(req)
	if err != nil {
		return now, err
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		return now, errors.New(resp.Status)
	}
	return now, json.NewDecoder(resp.Body).Decode(&now)
}

func (y *darkYard) dark(client *http.Client) (darkState, error) {
	return y.post(client, "/api/dark", "{}")
}

// light lifts the hold and lights all strings.
func (y *darkYard) light() {
	y.t.Helper()
	if _, err := y.post(y.phone, "/api/resume", "{}"); err != nil {
		y.t.Fatal(err)
	}
	if now, err := y.post(y.phone, "/api/show", `{"pattern":"walk"}`); err != nil || now.Showing.Pattern != "walk" {
		y.t.Fatalf("%v, %+v", err, now)
	}
}

// plan writes one with a string on each universe.
func (o darkOptions) plan(t testing.TB) string {
	var text strings.Builder
	fmt.Fprintf(&text, "network: {interface: %s}\nsupplies: [{name: hut, volts: 12, watts: 350, at: [0, 0]}]\nstrings:\n", sacntest.Interface)
	for i := range o.universes {
		power := ""
		if o.power { // each another, so that none is found by what is known of one before
			power = fmt.Sprintf(", volts: 12, amps_per_pixel: 0.0%d, pitch: {awg: 18, millimetres: 50}, at: [%d, 1]", 2000+i, i)
		}
		fmt.Fprintf(&text, "  - {name: quay-%04d, label: Q%d, universe: %d, pixels: 170%s}\n", i, i, i+1, power)
	}
	return sacntest.File(t, "plan.yaml", text.String())
}
