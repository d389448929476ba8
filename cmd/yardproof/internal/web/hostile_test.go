package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/record"
)

// changing are the paths that take a body.
func (y *yard) changing() (paths []string) {
	for _, r := range y.routes() {
		if r.method == http.MethodPost {
			paths = append(paths, r.path)
		}
	}
	return paths
}

// mustEnd makes a finding of what is not answered: a fuzzer takes it for slow, and ends well.
func mustEnd(body string) (stop func() bool) {
	return time.AfterFunc(30*time.Second, func() { panic(fmt.Sprintf("%q is not answered", body)) }).Stop
}

// FuzzBodies sends any body to any path that takes one. A request may be wrong; the
// server never is, and says what is wrong as a problem document.
func FuzzBodies(f *testing.F) {
	for i, s := range []string{
		`{}`, `[`, `{"string":"gable-left","verdict":"good","last_lit":-1}`, `{"string":"gable-left","verdict":"fault","note":"\u0000","readings":[{"quantity":"volts","at":"end","value":1e308}]}`,
		`{"readings":[{"quantity":"amps","while":"full-white","value":-0}],"string":"gable-left","verdict":"good","once":"a"}`,
		`{"token":"../../x"}`, `{"id":"x","name":"\u202e"}`, `{"string":"gable-left","label":"Z9","Label":"Z8"}`, `{"film":1e999}`, `[1 2]`, `{"readings":[{} 1`, strings.Repeat(`{"a":`, 5000),
	} {
		f.Add(uint8(3*i), s)
	}
	y := newYard(f, nil)
	paths := y.changing()
	f.Fuzz(func(t *testing.T, path uint8, body string) {
		defer mustEnd(body)()
		got := y.do(t, http.MethodPost, paths[int(path)%len(paths)], body)
		if got.Code == http.StatusInternalServerError {
			t.Errorf("%s: %q answers %d, %s", paths[int(path)%len(paths)], body, got.Code, got.Body)
		}
		if got.Code == http.StatusOK && got.Body.Len() > 0 && !json.Valid(got.Body.Bytes()) {
			t.Errorf("%q answers no JSON", body)
		}
		y.frames(25 * time.Millisecond)
		y.forget(t)
	})
}

// forget begins another record once a fuzzer has filled one.
func (y *yard) forget(t testing.TB) {
	if y.cfg.Record.Len() < 10_000 {
		return
	}
	y.cfg.Record.Close()
	if err := os.Remove(filepath.Join(y.cfg.State, record.FileName)); err != nil {
		t.Fatal(err)
	}
	log, _, err := record.Open(y.cfg.State)
	if err != nil {
		t.Fatal(err)
	}
	y.cfg.Record = log
}

// Every path takes its own methods and no others, whatever the way to say so.
func TestMethodConfusion(t *testing.T) {
	y := newYard(t, nil)
	before := y.session.Snapshot().Shown.Change
	for path, methods := range y.paths() {
		takes := map[string]bool{}
		for _, m := range methods {
			takes[m] = true
			takes[http.MethodHead] = takes[http.MethodHead] || m == http.MethodGet
		}
		for _, m := range []string{"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT", "get", "post", "GARBAGE"} {
			if takes[m] {
				continue
			}
			got := y.do(t, m, path, `{"pattern":"walk"}`, func(r *http.Request) {
				r.Header.Set("X-HTTP-Method-Override", "POST")
				ctx, cancel := context.WithTimeout(r.Context(), time.Second) // a stream, to which none of these may lead, ends then
				t.Cleanup(cancel)
				*r = *r.WithContext(ctx)
			})
			if got.Code != http.StatusMethodNotAllowed && got.Code != http.StatusNotFound {
				t.Errorf("%s %s answers %d", m, path, got.Code)
			}
		}
	}
	if y.session.Snapshot().Shown.Change != before {
		t.Error("something else is shown now")
	}
}

// A path that is not written as the server writes it leads nowhere without a
// session, and out of the page's files never.
func TestPathTricks(t *testing.T) {
	y := newYard(t, remote)
	for _, path := range []string{
		"/api//state", "/api/./state", "/api/../api/state", "/healthz/../api/state", "/healthz/..%2fapi/state", "/%61pi/state", "/api/state/", "/API/STATE",
		"/api/state%00", "/api/state;x", "/api/state%2f", "//127.0.0.1/api/state", "/api/session/../state", "/.//api/state", `/\api\state`,
		"/../../etc/passwd", "/..%2f..%2fetc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "/page/../../record.jsonl", "/record.jsonl", "/..\\record.jsonl",
	} {
		u, err := url.ParseRequestURI(path)
		if err != nil {
			continue // net/http refuses it as well
		}
		got := y.do(t, "GET", "/", "", func(r *http.Request) { r.URL, r.RequestURI = u, path })
		to := got.Header().Get("Location")
		if got.Code < 300 || got.Code < 400 && !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") {
			t.Errorf("%s answers %d to %q: %.80s", path, got.Code, to, got.Body)
		}
	}
}
