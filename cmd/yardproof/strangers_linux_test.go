package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

const script = `<script>alert(1)</script>`

// A gate is the program's page, with strangers and a phone that was let in before it.
type gate struct {
	t      *testing.T
	pair   *sacntest.Pair
	plan   string
	state  string
	cookie string
}

// openGate starts the program on a plan whose every name is a script.
func openGate(t *testing.T) *gate {
	g := &gate{t: t, pair: sacntest.NewPair(t), state: t.TempDir()}
	g.plan = filepath.Join(t.TempDir(), "quay.yaml")
	text := strings.ReplaceAll(`name: 'Quay @'
source: {name: 'crate @'}
network: {interface: yard0}
controllers: [{name: 'boathouse @'}]
supplies: [{name: 'supply @', volts: 12, watts: 350}]
strings: [{name: 'gable @', label: 'C1 @', universe: 1, pixels: 50, controller: 'boathouse @', supply: 'supply @', port: '1 @'}]
reserved: [{universe: 2, channels: 1-2, value: 9, what: 'relay @'}]
`, "@", script)
	sacntest.Write(t, g.plan, text)
	prog := g.pair.Start(t, g.pair.Near, "run", g.plan, "--no-scan", "--state", g.state, "--http", darkPage)
	prog.Says(30*time.Second, "page and metrics")
	return g
}

// raw sends octets as they are, which no client would, and returns the answer.
func (g *gate) raw(request string) (status int, head http.Header, body string) {
	g.t.Helper()
	conn, err := g.pair.Dial(context.Background(), g.pair.Far, "tcp", darkPage)
	if err != nil {
		g.t.Fatal(err)
	}
	defer conn.Close()
	return answered(g.t, conn, request)
}

func answered(t *testing.T, conn net.Conn, request string) (status int, head http.Header, body string) {
	t.Helper()
	conn.SetDeadline(time.Now().Add(30 * time.Second))
	if _, err := io.WriteString(conn, request); err != nil {
		t.Fatal(err)
	}
	resp, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil {
		t.Fatalf("%.200q is answered by %v", request, err)
	}
	defer resp.Body.Close()
	if resp.Header.Get("Content-Type") == "text/event-stream" {
		return resp.StatusCode, resp.Header, ""
	}
	text, _ := io.ReadAll(io.LimitReader(resp.Body, 1<<20)) // what is torn off is no answer
	return resp.StatusCode, resp.Header, string(text)
}

// asks is a request by the phone that was let in; with a body it is a POST.
func (g *gate) asks(path, body string) (int, http.Header, string) {
	g.t.Helper()
	if body == "" {
		return g.raw("GET " + path + " HTTP/1.1\r\nHost: " + darkPage + "\r\nCookie: " + g.cookie + "\r\nConnection: close\r\n\r\n")
	}
	return g.raw(post(path, body, "Cookie: "+g.cookie+"\r\n"))
}

func post(path, body, more string) string {
	return fmt.Sprintf("POST %s HTTP/1.1\r\nHost: %s\r\nContent-Type: application/json\r\nContent-Length: %d\r\nConnection: close\r\n%s\r\n%s", path, darkPage, len(body), more, body)
}

func (g *gate) link() (token string) {
	g.t.Helper()
	code, stdout, stderr := call(g.t, "link", "--state", g.state)
	_, token, ok := strings.Cut(strings.TrimSpace(stdout), "#")
	if code != exitFine || !ok {
		g.t.Fatalf("link: exit %d, %s", code, stderr)
	}
	return token
}

// letIn opens a link from the address that a connection comes from.
func (g *gate) letIn(conn net.Conn, token string) (int, http.Header) {
	g.t.Helper()
	status, head, _ := answered(g.t, conn, post("/api/session", `{"token":"`+token+`"}`, ""))
	return status, head
}

// TestStrangersAtTheGate stands at the far end of the wire, and tries to get in.
func TestStrangersAtTheGate(t *testing.T) {
	t.Parallel() // it waits more than it works
	g := openGate(t)
	g.pair.Run(t, g.pair.Far, "ip addr add 10.77.0.9/24 dev yard0")
	phone := func() (conn net.Conn) { // from an address of its own
		err := g.pair.Inside(g.pair.Far, func() (err error) {
			d := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(10, 77, 0, 9)}}
			conn, err = d.Dial("tcp", darkPage)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { conn.Close() })
		return conn
	}

	// Links: guessed, used, used again.
	good, guesses := g.link(), map[int]int{}
	for i := range 30 {
		status, head, _ := g.raw(post("/api/session", fmt.Sprintf(`{"token":"%022d"}`, i), ""))
		if guesses[status]++; status == http.StatusTooManyRequests && head.Get("Retry-After") == "" {
			t.Error("it is not said when to try again")
		}
	}
	if guesses[http.StatusForbidden] > 11 || guesses[http.StatusForbidden]+guesses[http.StatusTooManyRequests] != 30 {
		t.Errorf("30 guesses are answered %v", guesses)
	}
	status, head := g.letIn(phone(), good)
	if status != http.StatusNoContent {
		t.Fatalf("a good link, while somebody guesses, is answered %d", status)
	}
	g.cookie, _, _ = strings.Cut(head.Get("Set-Cookie"), ";")
	if set := head.Get("Set-Cookie"); !strings.Contains(set, "HttpOnly") || !strings.Contains(set, "SameSite=Strict") {
		t.Errorf("the cookie is %s", set)
	}
	if status, _ := g.letIn(phone(), good); status != http.StatusForbidden {
		t.Errorf("a link that was used is answered %d", status)
	}
	shown := func() int { // how often what is shown was changed
		t.Helper()
		status, _, text := g.asks("/api/state", "")
		var now struct{ Showing struct{ Change int } }
		if err := json.Unmarshal([]byte(text), &now); status != http.StatusOK || err != nil {
			t.Fatalf("the phone that was let in is answered %d %s", status, text)
		}
		return now.Showing.Change
	}
	before := shown()

	const host, end = "\r\nHost: " + darkPage + "\r\n", "Connection: close\r\n\r\n"
	with := "Cookie: " + g.cookie + "\r\n"
	body := "Content-Type: application/json\r\nContent-Length: 18\r\n" + end + `{"pattern":"walk"}`
	for _, try := range []struct {
		what, request string
		want          []int
	}{
		// Without a session, a made-up one, or a changed one.
		{"state", "GET /api/state HTTP/1.1" + host + end, []int{401}},
		{"metrics", "GET /metrics HTTP/1.1" + host + end, []int{401}},
		{"events", "GET /api/events HTTP/1.1" + host + end, []int{401}},
		{"last day", "GET /last-day HTTP/1.1" + host + end, []int{401}},
		{"opening", "GET /opening HTTP/1.1" + host + end, []int{401}},
		{"show", "POST /api/show HTTP/1.1" + host + body, []int{401}},
		{"dark", "POST /api/dark HTTP/1.1" + host + body, []int{401}},
		{"events, HEAD", "HEAD /api/events HTTP/1.1" + host + end, []int{401}},
		{"a made-up cookie", "GET /api/state HTTP/1.1" + host + "Cookie: yardproof=../../etc/passwd\r\n" + end, []int{401}},
		{"a cookie that is nearly right", "GET /api/state HTTP/1.1" + host + "Cookie: " + g.cookie[:len(g.cookie)-1] + "\r\n" + end, []int{401}},
		// With the phone's session, from a page that is not ours.
		{"another origin", "POST /api/show HTTP/1.1" + host + with + "Origin: http://winter.example\r\n" + body, []int{403}},
		{"no origin that can be told", "POST /api/show HTTP/1.1" + host + with + "Origin: null\r\n" + body, []int{403}},
		{"a form", "POST /api/show HTTP/1.1" + host + with + strings.Replace(body, "application/json", "text/plain", 1), []int{415}},
		// With it, by other methods.
		{"GET show", "GET /api/show HTTP/1.1" + host + with + end, []int{405}},
		{"PUT show", "PUT /api/show HTTP/1.1" + host + with + body, []int{405}},
		{"post in small letters", "post /api/show HTTP/1.1" + host + with + body, []int{405}},
		{"TRACE", "TRACE /api/state HTTP/1.1" + host + with + end, []int{405}},
		{"CONNECT", "CONNECT " + sacntest.NearAddr4 + ":22 HTTP/1.1" + host + with + end, []int{400, 404, 405}},
		{"an overridden method", "GET /api/show HTTP/1.1" + host + with + "X-HTTP-Method-Override: POST\r\n" + body, []int{405}},
		{"OPTIONS of all", "OPTIONS * HTTP/1.1" + host + with + end, []int{400, 404, 405}},
		// Two requests in one.
		{"two lengths", "POST /api/show HTTP/1.1" + host + with + "Content-Length: 0\r\n" + body, []int{400}},
		{"a length and chunks", "POST /api/show HTTP/1.1" + host + with + "Content-Type: application/json\r\nContent-Length: 6\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nPOST /api/show HTTP/1.1\r\n", []int{400}},
		{"chunks of another kind", "POST /api/show HTTP/1.1" + host + with + "Transfer-Encoding: xchunked\r\n" + body, []int{400, 501}},
		// Bodies and headers past all bounds.
		{"a deep body", post("/api/show", strings.Repeat(`{"a":`, 1000), with), []int{400}},
		{"a long header", "GET /api/state HTTP/1.1" + host + with + "X: " + strings.Repeat("x", 20<<10) + "\r\n" + end, []int{431}},
		{"a NUL in a header", "GET /api/state HTTP/1.1" + host + with + "X: \x00\r\n" + end, []int{400}},
		{"no HTTP", "\x16\x03\x01\x00\xa5\x01\r\n\r\n", []int{400}},
	} {
		if status, _, text := g.raw(try.request); !slices.Contains(try.want, status) {
			t.Errorf("%s is answered %d, want %v: %.200s", try.what, status, try.want, text)
		}
	}
	for _, forged := range []string{
		"winter.example", "winter.example:9531", "WINTER.EXAMPLE.", sacntest.NearAddr4 + ".winter.example", sacntest.NearAddr4 + "@winter.example", "winter.example@" + sacntest.NearAddr4,
		"localhost.winter.example:9531", "10.77.1", "0x0a4d0001", "172818433", "012.077.0.1", "[::1", "[10.77.0.1]", "localhost:9531:9531", "localhost, winter.example", "", " ",
	} {
		if status, _, text := g.raw("GET /api/state HTTP/1.1\r\nHost: " + forged + "\r\n" + with + end); status != http.StatusMisdirectedRequest && status != http.StatusBadRequest {
			t.Errorf("Host %q is answered %d: %.200s", forged, status, text)
		}
	}
	for what, request := range map[string]string{
		"two hosts":                "GET /api/state HTTP/1.1" + host + "Host: winter.example\r\n" + with + end,
		"no host":                  "GET /api/state HTTP/1.1\r\n" + with + end,
		"a host in the first line": "GET http://winter.example/api/state HTTP/1.1" + host + with + end,
	} {
		if status, _, text := g.raw(request); status != http.StatusMisdirectedRequest && status != http.StatusBadRequest {
			t.Errorf("%s: answered %d: %.200s", what, status, text)
		}
	}
	for _, path := range []string{
		"/api//state", "/api/./state", "/healthz/../api/state", "/healthz/..%2fapi/state", "/%61pi/state", "/api/state/", "/api/state%00", "/api/state;x", "//10.77.0.1/api/state", "/API/STATE",
		"/../../etc/passwd", "/..%2f..%2fetc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "/page/../../record.jsonl", "/..%5crecord.jsonl", "/phones", "/api/session/../state", "*", "api/state", "http://[::1]/api/state",
	} {
		status, head, text := g.raw("GET " + path + " HTTP/1.1" + host + end)
		if to := head.Get("Location"); status < 300 || status < 400 && (!strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//")) {
			t.Errorf("%s is answered %d to %q: %.80s", path, status, to, text)
		}
	}
	if now := shown(); now != before {
		t.Errorf("somebody got through: what is shown has changed %d times", now-before)
	}
}

// TestScriptsInNames has a script in every name of the plan and in every note: no page and
// no sheet runs it.
func TestScriptsInNames(t *testing.T) {
	t.Parallel() // it waits more than it works
	g := openGate(t)
	conn, err := g.pair.Dial(t.Context(), g.pair.Far, "tcp", darkPage)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	_, head := g.letIn(conn, g.link())
	g.cookie, _, _ = strings.Cut(head.Get("Set-Cookie"), ";")
	for path, body := range map[string]string{
		"/api/notes":  `{"note":"wet ` + script + `"}`,
		"/api/proofs": `{"string":"gable ` + script + `","verdict":"fault","note":"dark ` + script + `"}`,
		"/api/links":  `{"name":"phone ` + script + `"}`,
		"/api/show":   `{"pattern":"walk"}`,
	} {
		if status, _, text := g.asks(path, body); status/100 != 2 {
			t.Errorf("%s is answered %d %s", path, status, text)
		}
	}
	seen := 0
	for _, path := range []string{"/", "/last-day", "/opening", "/api/plan", "/api/state", "/api/proofs", "/api/phones", "/api/nothing" + script, "/metrics"} {
		status, head, text := g.asks(path, "")
		kind := head.Get("Content-Type")
		if strings.Contains(kind, "html") || strings.Contains(kind, "svg") || kind == "" {
			if strings.Contains(text, script) {
				t.Errorf("%s (%d, %s) holds the script", path, status, kind)
			}
			if strings.Contains(text, "&lt;script&gt;") {
				seen++
			}
		}
		if head.Get("X-Content-Type-Options") != "nosniff" || !strings.Contains(head.Get("Content-Security-Policy"), "frame-ancestors 'none'") {
			t.Errorf("%s (%d): %v", path, status, head)
		}
	}
	for _, args := range [][]string{{"report", "--format", "html"}, {"report", "--opening", "--format", "html"}, {"plan", "--format", "html", "--sheet", "boathouse " + script}} {
		if args[0] == "report" {
			args = append(args, "--state", g.state)
		}
		code, sheet, said := call(t, append(args, g.plan)...)
		if code == exitUsage || strings.Contains(sheet, script) || !strings.Contains(sheet, "&lt;script&gt;") {
			t.Errorf("%q: exit %d, %s; the sheet holds the script, or no name: %.300s", args, code, said, sheet)
		}
	}
	if seen < 2 {
		t.Errorf("%d pages hold the names as text, want the last day and the opening sheet", seen)
	}
}
