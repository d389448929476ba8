package web

import (
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/jsonbody"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/sacn/sacntest"
	"yardproof/sacn/source"
)

// yard is a server over the demonstration's plan, with a frame clock that the
// test turns by hand.
type yard struct {
	*Server
	handler http.Handler
	session *session.Session
	look    source.Scene
	slots   [][]byte
	now     time.Time
	cookie  *http.Cookie
}

func newYard(t testing.TB, change func(*Config), replace ...string) *yard {
	t.Helper()
	plan, problems := config.Load("demo.yaml", strings.NewReader(strings.NewReplacer(replace...).Replace(config.DemoText())))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	y := &yard{session: session.New(plan, budget.New(plan)), now: time.Unix(1_800_000_000, 0)}
	y.look = y.session.Scene()
	for _, st := range y.look.Streams {
		y.slots = append(y.slots, make([]byte, st.Slots))
	}
	dir := t.TempDir()
	log, _, err := record.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { log.Close() })
	cfg := Config{Session: y.session, State: dir, Record: log, Loopback: true, Version: "test", Log: slog.New(slog.DiscardHandler)}
	if change != nil {
		change(&cfg)
	}
	s, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	y.Server, y.handler = s, s.Handler()
	return y
}

func remote(cfg *Config) { cfg.Loopback = false }

// frames renders as many frames as d lasts.
func (y *yard) frames(d time.Duration) {
	for end := y.now.Add(d); y.now.Before(end); {
		y.now = y.now.Add(25 * time.Millisecond)
		y.look.Render(source.Frame{Deadline: y.now}, y.slots)
	}
}

type reply struct {
	*httptest.ResponseRecorder
	t *testing.T
}

func (r reply) json(v any) {
	r.t.Helper()
	sacntest.JSON(r.t, r.Body.Bytes(), v)
}

func (y *yard) do(t *testing.T, method, path, body string, change ...func(*http.Request)) reply {
	t.Helper()
	req := httptest.NewRequest(method, path, strings.NewReader(body))
	req.Host = "192.0.2.5:9531"
	if method == "POST" {
		req.Header.Set("Content-Type", "application/json")
	}
	if y.cookie != nil {
		req.AddCookie(y.cookie)
	}
	for _, c := range change {
		c(req)
	}
	w := httptest.NewRecorder()
	y.handler.ServeHTTP(w, req)
	checkHeaders(t, w.Result())
	if w.Code >= 400 {
		checkProblem(t, w)
	}
	return reply{w, t}
}

// wants asks, and holds the answer's code and words against what is wanted.
func (y *yard) wants(t *testing.T, code int, method, path, body string, words ...string) {
	t.Helper()
	got := y.do(t, method, path, body)
	if got.Code != code || slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(got.Body.String(), w) }) {
		t.Errorf("%s %s %.200s answers %d %s, want %d %q", method, path, body, got.Code, got.Body, code, words)
	}
}

// checkHeaders holds for every answer, an error too.
func checkHeaders(t *testing.T, r *http.Response) {
	t.Helper()
	for name, want := range map[string]string{
		"Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src blob:; connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
		"X-Content-Type-Options":  "nosniff",
		"Referrer-Policy":         "no-referrer",
		"Cache-Control":           "no-store",
	} {
		if got := r.Header.Get(name); got != want {
			t.Errorf("%d: %s is %q", r.StatusCode, name, got)
		}
	}
	for name := range r.Header {
		if strings.HasPrefix(name, "Access-Control-") {
			t.Errorf("there is a %s header", name)
		}
	}
}

// checkProblem checks the members that RFC 9457 clause 3.1 names.
func checkProblem(t *testing.T, w *httptest.ResponseRecorder) {
	t.Helper()
	if got := w.Header().Get("Content-Type"); got != "application/problem+json" {
		t.Errorf("error %d is a %q", w.Code, got)
	}
	var p map[string]any
	sacntest.JSON(t, w.Body.Bytes(), &p)
	if p["status"] != float64(w.Code) || p["title"] == "" || p["detail"] == "" {
		t.Errorf("error %d is %v", w.Code, p)
	}
}

func (y *yard) paths() map[string][]string {
	m := map[string][]string{"/": {"GET"}, "/nothing": {"GET"}}
	for _, r := range y.routes() {
		m[r.path] = append(m[r.path], r.method)
	}
	return m
}

func TestHostIsChecked(t *testing.T) {
	own, err := os.Hostname()
	if err != nil {
		t.Fatal(err)
	}
	y := newYard(t, func(c *Config) { c.HostNames = []string{"Yard.Example.", "crate"} })
	for host, ok := range map[string]bool{
		"127.0.0.1": true, "127.0.0.1:9531": true, "192.0.2.5:1": true, "[::1]:9531": true, "[2001:db8::1]": true,
		"localhost": true, "LocalHost:9531": true, "localhost.": true,
		own: true, own + ":9531": true, own + ".local": true,
		"yard.example": true, "yard.example:80": true, "CRATE": true,

		"": false, ":9531": false, "example.com": false, "127.0.0.1.example.com": false, "localhost.example.com": false,
		"localhost:9531x": false, "a@localhost": false, "[::1": false, "::1": false, "[127.0.0.1]": false,
		"127.1": false, "2130706433": false, "0x7f.1": false, "example.com:127.0.0.1": false, "yard.example.com": false,
	} {
		for path, methods := range y.paths() {
			method := methods[0]
			if path == "/api/events" {
				method = http.MethodHead // a stream does not end by itself
			}
			got := y.do(t, method, path, "{}", func(r *http.Request) { r.Host = host }).Code
			if (got == http.StatusMisdirectedRequest) == ok {
				t.Errorf("Host %q on %s answers %d", host, path, got)
			}
		}
	}
}

func FuzzHost(f *testing.F) {
	for _, s := range []string{"localhost", "127.0.0.1:1", "[::1]:2", "a.b", "[", "]:", ":", "%"} {
		f.Add(s)
	}
	s := &Server{hosts: hostNames(nil)}
	f.Fuzz(func(t *testing.T, host string) {
		if s.ours(host) && strings.ContainsAny(host, "/\\@ \n") {
			t.Errorf("%q is taken for this machine", host)
		}
	})
}

func TestWhoMaySeeWhat(t *testing.T) {
	y := newYard(t, remote)
	open := map[string]bool{"/": true, "/nothing": true, "/healthz": true, "/readyz": true, "/api/session": true}
	for path, methods := range y.paths() {
		for _, m := range methods {
			if got := y.do(t, m, path, "{}").Code; (got == http.StatusUnauthorized) == open[path] {
				t.Errorf("%s %s without a session answers %d", m, path, got)
			}
		}
	}
	y.cookie = &http.Cookie{Name: cookieName, Value: "../../etc/passwd"}
	y.wants(t, http.StatusUnauthorized, "GET", "/api/state", "")
	open["/metrics"] = true
	y = newYard(t, func(c *Config) {
		remote(c)
		c.MetricsOpen = true
		c.Metrics = http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, "up 1\n") })
	})
	if got := y.do(t, "GET", "/metrics", ""); got.Code != http.StatusOK || got.Body.String() != "up 1\n" {
		t.Errorf("open metrics answer %d %q", got.Code, got.Body)
	}
}

func TestChangesMustBeOurs(t *testing.T) {
	y := newYard(t, nil)
	header := func(name, value string) func(*http.Request) {
		return func(r *http.Request) { r.Header.Set(name, value) }
	}
	for _, test := range []struct {
		what   string
		method string
		body   string
		change func(*http.Request)
		want   int
	}{
		{"ours", "POST", "{}", header("Sec-Fetch-Site", "same-origin"), 200},
		{"typed with a charset", "POST", "{}", header("Content-Type", "application/json; charset=utf-8"), 200},
		{"no browser", "POST", "{}", header("User-Agent", "curl"), 200},
		{"another site's script", "POST", "{}", header("Sec-Fetch-Site", "cross-site"), 403},
		{"a sister site's script", "POST", "{}", header("Sec-Fetch-Site", "same-site"), 403},
		{"an old browser's foreign page", "POST", "{}", header("Origin", "http://example.com"), 403},
		{"a form", "POST", "{}", header("Content-Type", "text/plain"), 415},
		{"a form of another kind", "POST", "a=b", header("Content-Type", "application/x-www-form-urlencoded"), 415},
		{"no type", "POST", "{}", header("Content-Type", ""), 415},
		{"a link followed", "GET", "", header("Accept", "*/*"), 405},
		{"a delete", "DELETE", "", header("Accept", "*/*"), 405},
		{"nothing", "POST", "", header("Accept", "*/*"), 400},
		{"a list", "POST", "[]", header("Accept", "*/*"), 400},
		{"half an object", "POST", `{"a`, header("Accept", "*/*"), 400},
		{"two objects", "POST", `{} {}`, header("Accept", "*/*"), 400},
		{"an unknown key", "POST", `{"levle": 1}`, header("Accept", "*/*"), 400},
		{"too long", "POST", "{" + strings.Repeat(" ", jsonbody.Most) + "}", header("Accept", "*/*"), 413},
		{"too long after the object", "POST", "{}" + strings.Repeat(" ", jsonbody.Most), header("Accept", "*/*"), 413},
	} {
		if got := y.do(t, test.method, "/api/dark", test.body, test.change).Code; got != test.want {
			t.Errorf("%s: %d, want %d", test.what, got, test.want)
		}
	}
	if got := y.do(t, "PUT", "/api/dark", "{}").Header().Get("Allow"); got != "POST" {
		t.Errorf("Allow is %q", got)
	}
}

func TestPage(t *testing.T) {
	y := newYard(t, remote)
	weight := 0
	for name := range y.page.files {
		path := strings.TrimSuffix(name, "{$}")
		plain := y.do(t, "GET", path, "")
		small := y.do(t, "GET", path, "", func(r *http.Request) { r.Header.Set("Accept-Encoding", "gzip, br") })
		if plain.Code != 200 || small.Code != 200 || small.Header().Get("Content-Encoding") != "gzip" || plain.Header().Get("Content-Type") == "" {
			t.Errorf("%s answers %d and %d", path, plain.Code, small.Code)
		}
		weight += small.Body.Len()
		if body := plain.Body.String(); strings.Contains(body, "http://") && !strings.HasSuffix(path, ".svg") && !strings.Contains(body, "www.w3.org") ||
			strings.Contains(body, "https://") || strings.Contains(body, "innerHTML") || strings.Contains(body, "style=\"") {
			t.Errorf("%s loads from outside, or writes markup or style that the policy refuses", path)
		}
	}
	if weight > 150_000 {
		t.Errorf("the page weighs %d octets", weight)
	}
	t.Logf("the page weighs %d octets compressed", weight)
	y.wants(t, 200, "HEAD", "/", "")
	if got := y.do(t, "GET", "/../web.go", ""); got.Code == 200 {
		t.Errorf("a path outside answers %d", got.Code)
	}
}
