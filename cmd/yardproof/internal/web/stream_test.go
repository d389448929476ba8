package web

import (
	"bufio"
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/sacn/listener"
	"yardproof/sacn/sacntest"
)

// pipes is a listener whose connections are pipes, for tests on a fake clock.
type pipes struct {
	accept chan net.Conn
	done   chan struct{}
}

func newPipes() *pipes { return &pipes{make(chan net.Conn), make(chan struct{})} }

func (p *pipes) Accept() (net.Conn, error) {
	select {
	case c := <-p.accept:
		return c, nil
	case <-p.done:
		return nil, net.ErrClosed
	}
}

func (p *pipes) Close() error {
	select {
	case <-p.done:
	default:
		close(p.done)
	}
	return nil
}

func (p *pipes) Addr() net.Addr { return &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 9531} }

func (p *pipes) dial() net.Conn {
	near, far := net.Pipe()
	p.accept <- near
	return far
}

// get asks for a path over a connection of its own.
func (p *pipes) get(path string) net.Conn {
	c := p.dial()
	fmt.Fprintf(c, "GET %s HTTP/1.1\r\nHost: localhost\r\n\r\n", path)
	return c
}

// onPipes runs a yard on pipes inside a bubble; the returned function stops it.
func onPipes(t *testing.T, y *yard) (*pipes, func()) {
	t.Helper()
	ln := newPipes()
	return ln, serve(t, y, ln)
}

// serve runs a yard; the returned function stops it.
func serve(t *testing.T, y *yard, ln net.Listener) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- y.Serve(ctx, ln) }()
	return func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("serving ends with %v", err)
		}
	}
}

type event struct{ name, data string }

func readEvent(t *testing.T, r *bufio.Reader) event {
	t.Helper()
	var e event
	for {
		line, err := r.ReadString('\n')
		if err != nil {
			t.Fatalf("the stream ends: %v", err)
		}
		line = strings.TrimSuffix(line, "\n")
		if name, ok := strings.CutPrefix(line, "event: "); ok {
			e.name = name
		}
		if data, ok := strings.CutPrefix(line, "data: "); ok {
			e.data = data
		}
		if line == "" && e.name != "" {
			return e
		}
	}
}

func TestEvents(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t, nil)
		y.frames(time.Second)
		ln, stop := onPipes(t, y)
		defer stop()
		c := ln.get("/api/events?string=gable-left")
		defer c.Close()
		resp, err := http.ReadResponse(bufio.NewReader(c), nil)
		if err != nil || resp.Header.Get("Content-Type") != "text/event-stream" {
			t.Fatalf("%v %v", resp, err)
		}
		checkHeaders(t, resp)
		r := bufio.NewReader(resp.Body)
		first, second := readEvent(t, r), readEvent(t, r)
		if first.name != "state" || second.name != "frame" {
			t.Fatalf("the stream begins with %v and %v", first, second)
		}
		y.do(t, "POST", "/api/show", `{"pattern":"ends","strings":["gable-left"],"level_percent":100}`)
		y.frames(3 * time.Second)
		var st state
		for st.Showing.Pattern != "ends" {
			if e := readEvent(t, r); e.name == "state" {
				sacntest.JSON(t, e.data, &st)
			}
		}
		var frame struct{ String, Slots string }
		for frame.String == "" {
			if e := readEvent(t, r); e.name == "frame" {
				sacntest.JSON(t, e.data, &frame)
			}
		}
		slots, err := base64.StdEncoding.DecodeString(frame.Slots)
		sent, _ := y.session.Slots(nil, "gable-left")
		if err != nil || frame.String != "gable-left" || string(slots) != string(sent) || slots[1] != 255 || slots[147] != 255 {
			t.Errorf("the frame of %s is % x, %v", frame.String, slots, err)
		}
		// With nothing to tell, it still says that it is there.
		e := readEvent(t, r)
		if e.name != "state" {
			t.Errorf("the sign of life is %v", e)
		}
	})
}

// What listening finds on the universe in view is on an open page within half a second,
// whenever it is found: with the 1.5 s that listening takes, a conflict stands there
// within two. The page asks for its universe all the while.
func TestConflictIsToldAtOnce(t *testing.T) {
	for found := time.Second; found < 3*time.Second; found += 410 * time.Millisecond {
		synctest.Test(t, func(t *testing.T) {
			began := time.Now()
			var asked atomic.Int64 // since the beginning
			y := newYard(t, func(c *Config) {
				c.Competing = func(universes []uint16) []listener.CompetingSource {
					if slices.Contains(universes, 11) {
						asked.Store(int64(time.Since(began)))
					}
					if time.Since(began) < found {
						return nil
					}
					return []listener.CompetingSource{{Universe: 11, Name: "show desk", Precedence: listener.Tie}}
				}
			})
			ln, stop := onPipes(t, y)
			defer stop()
			c := ln.get("/api/events?string=quay-rail-west")
			defer c.Close()
			resp, err := http.ReadResponse(bufio.NewReader(c), nil)
			if err != nil {
				t.Fatal(err)
			}
			r := bufio.NewReader(resp.Body)
			for {
				if e := readEvent(t, r); e.name == "state" && strings.Contains(e.data, "show desk") {
					break
				}
				if late := time.Since(began) - time.Duration(asked.Load()); late > levelEvery+frameEvery {
					t.Errorf("the universe in view was not asked for in %v", late)
				}
			}
			if took := time.Since(began) - found; took > 500*time.Millisecond {
				t.Errorf("what is found after %v is told %v later", found, took)
			}
		})
	}
}

// A phone that takes nothing in holds nobody up, and is dropped.
func TestSlowPhone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t, nil)
		ln, stop := onPipes(t, y)
		defer stop()
		c := ln.get("/api/events")
		defer c.Close()
		time.Sleep(time.Second)
		if n := y.streams.Load(); n != 1 {
			t.Fatalf("%d streams are open", n)
		}
		y.wants(t, http.StatusOK, "POST", "/api/dark", "{}")
		time.Sleep(eventTimeout)
		synctest.Wait()
		if n := y.streams.Load(); n != 0 {
			t.Errorf("after %v the slow phone still has a stream", eventTimeout)
		}
	})
}

// A client that never ends its header, or its body, is dropped; so is one that has gone
// without a word after an answer, which leaves its connection half open.
func TestSlowRequests(t *testing.T) {
	for what, begin := range map[string]string{
		"header": "GET / HTTP/1.1\r\nHost: loc",
		"body":   "POST /api/dark HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{",
		"start":  "",
		"end":    "GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n",
	} {
		synctest.Test(t, func(t *testing.T) {
			y := newYard(t, nil)
			ln, stop := onPipes(t, y)
			defer stop()
			c := ln.dial()
			defer c.Close()
			go io.WriteString(c, begin)
			ended := make(chan struct{})
			go func() { io.Copy(io.Discard, c); close(ended) }()
			select {
			case <-ended:
			case <-time.After(idleTimeout + time.Second):
				t.Errorf("a slow %s holds its connection", what)
			}
		})
	}
}

// One address takes its share of connections and no more; from another, dark
// goes through.
func TestFloodFromOneAddress(t *testing.T) {
	y := newYard(t, nil)
	ln := sacntest.Listen(t)
	defer serve(t, y, ln)()
	phone, err := net.Dial("tcp", ln.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer phone.Close()
	answers := bufio.NewReader(phone)
	ask := func(when string) {
		io.WriteString(phone, "GET /api/state HTTP/1.1\r\nHost: localhost\r\n\r\n")
		resp, err := http.ReadResponse(answers, nil)
		if err != nil {
			t.Fatalf("%s: whoever may drive the lights has lost the connection: %v", when, err)
		}
		io.Copy(io.Discard, resp.Body)
	}
	ask("before the flood")
	defer ask("after it")
	var conns []net.Conn
	for range perAddress + 8 {
		c, err := net.Dial("tcp", ln.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		io.WriteString(c, "GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n")
		if _, err := bufio.NewReader(c).ReadString('\n'); err != nil {
			t.Errorf("who comes last is not answered: %v", err)
		}
		conns = append(conns, c)
	}
	for i, c := range conns[:8] { // the oldest have made room
		c.SetReadDeadline(time.Now().Add(5 * time.Second))
		if _, err := io.Copy(io.Discard, c); errors.Is(err, os.ErrDeadlineExceeded) {
			t.Errorf("connection %d is still open", i)
		}
	}
	d := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 0, 2)}}
	client := http.Client{Transport: &http.Transport{DialContext: d.DialContext, DisableKeepAlives: true}}
	resp, err := client.Post("http://"+ln.Addr().String()+"/api/dark", "application/json", strings.NewReader("{}"))
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		t.Errorf("from another address dark answers %d", resp.StatusCode)
	}
}

// Somebody who taps fast is served: 200 requests in a row.
func TestManyRequestsAreServed(t *testing.T) {
	y := newYard(t, nil)
	for i := range 200 {
		if got := y.do(t, "POST", "/api/show", `{"pattern":"ends"}`).Code; got != http.StatusOK {
			t.Fatalf("request %d answers %d", i, got)
		}
	}
}

// Sixteen pages have every picture; thirty-two share as many, and none goes without. What
// is newly shown is told to each at once.
func TestPicturesAreShared(t *testing.T) {
	for pages, want := range map[int][2]int{16: {16 * 40, 16 * 44}, 32: {16 * 35, 16 * 44}} { // in three seconds, at 14.3 a second
		synctest.Test(t, func(t *testing.T) {
			y := newYard(t, nil)
			y.now = time.Now()
			ln, stop := onPipes(t, y)
			defer stop()
			y.do(t, "POST", "/api/show", `{"pattern":"ramp","strings":["gable-left"],"level_percent":100}`)
			seen, dark := make([]atomic.Int64, pages), atomic.Int64{}
			for i := range pages {
				c := ln.get("/api/events?string=gable-left")
				defer c.Close()
				go func() {
					for lines := bufio.NewScanner(c); lines.Scan(); {
						_, slots, picture := strings.Cut(lines.Text(), `"slots":"`)
						if picture {
							seen[i].Add(1)
						}
						if picture && strings.Trim(slots, "A") == `"}` {
							dark.Add(1)
						}
					}
				}()
			}
			synctest.Wait()
			count := func(d time.Duration) (all int, least int64) {
				for i := range seen {
					seen[i].Store(0)
				}
				for range d / (25 * time.Millisecond) {
					time.Sleep(25 * time.Millisecond)
					y.frames(25 * time.Millisecond)
				}
				synctest.Wait()
				least = seen[0].Load()
				for i := range seen {
					all += int(seen[i].Load())
					least = min(least, seen[i].Load())
				}
				return all, least
			}
			count(newFor + time.Second)
			if all, least := count(3 * time.Second); all < want[0] || all > want[1] || least == 0 {
				t.Errorf("%d pages got %d pictures in three seconds, the least of them %d", pages, all, least)
			}
			dark.Store(0)
			y.do(t, "POST", "/api/dark", "{}")
			count(frameEvery + 50*time.Millisecond)
			if n := dark.Load(); n != int64(pages) {
				t.Errorf("dark is told to %d of %d pages at once", n, pages)
			}
		})
	}
}
