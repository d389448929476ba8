package web

import (
	"fmt"
	"net/http"
	"net/netip"
	"testing"
)

// fill adds n connections of an address, and returns how many were refused.
func (l *crowdListener) fill(addr string, n int) (refused int) {
	for range n {
		if _, ok := l.enter(&crowdConn{crowd: l, from: netip.MustParseAddr(addr)}); !ok {
			refused++
		}
	}
	return refused
}

func (l *crowdListener) phone(addr string) (c, out *crowdConn, ok bool) {
	c = &crowdConn{crowd: l, from: netip.MustParseAddr(addr)}
	out, ok = l.enter(c)
	return c, out, ok
}

// Strangers who hold all connections stand in nobody's way.
func TestCrowd(t *testing.T) {
	for _, v := range []struct{ stranger, known, fresh string }{
		{"192.0.2.%d", "198.51.100.7", "198.51.100.8"},
		{"2001:db8:0:%d::1", "2001:db8:ffff::7", "2001:db8:fffe::8"},
		{"2001:db8::%d", "2001:db8::777", "2001:db8::888"}, // of the phones' own /64
	} {
		l := &crowdListener{}
		stream, _, _ := l.phone(v.known)
		stream.vouch()
		l.phone(v.known) // not yet asked anything
		for i := range 40 {
			l.fill(fmt.Sprintf(v.stranger, i+1), 2*perAddress)
		}
		if len(l.open) > inAll {
			t.Errorf("%d are open", len(l.open))
		}
		known := 0
		for _, c := range l.open {
			if c.from == stream.from {
				known++
			}
		}
		if known != 2 {
			t.Errorf("%s keeps %d of 2 connections", v.known, known)
		}
		for _, addr := range []string{v.known, v.fresh} {
			if _, out, ok := l.phone(addr); !ok || out == nil || out.from == stream.from {
				t.Errorf("%s: let in %v, for %v", addr, ok, out)
			}
		}
	}
	l := &crowdListener{}
	for range perAddress {
		c, _, _ := l.phone("192.0.2.1")
		c.vouch()
	}
	if refused := l.fill("192.0.2.1", 8); refused != 8 {
		t.Errorf("%d of 8 above what one address may hold are refused", refused)
	}
}

func TestNeighbourhood(t *testing.T) {
	for addr, want := range map[string]string{
		"192.0.2.7:1": "192.0.2.7/32", "[2001:db8:1:2::99]:5": "2001:db8:1:2::/64", "[fe80::1%eth0]:5": "fe80::/64",
		"127.0.0.1:9": "127.0.0.1/32", "[::1]:9": "::1/128", "[::ffff:192.0.2.7]:9": "192.0.2.7/32",
	} {
		if got := neighbourhood(address(addr)).String(); got != want {
			t.Errorf("%s counts as %s, want %s", addr, got, want)
		}
	}
}

// Wrong links from one address shut out no other.
func TestGuessersStandAlone(t *testing.T) {
	y := newYard(t, remote)
	from := func(addr string) func(*http.Request) {
		return func(r *http.Request) { r.RemoteAddr = addr }
	}
	for range 4 * maxGuesses {
		y.do(t, "POST", "/api/session", `{"token":"wrong"}`, from("192.0.2.66:1"))
	}
	token := y.token(t, "")
	if got := y.do(t, "POST", "/api/session", `{"token":"`+token+`"}`, from("192.0.2.5:1")); got.Code != http.StatusNoContent {
		t.Errorf("a good link from another address answers %d %s", got.Code, got.Body)
	}
	if got := y.do(t, "GET", "/api/state", ""); got.Code != http.StatusUnauthorized || got.Header().Get("WWW-Authenticate") == "" {
		t.Errorf("a stranger is answered %d without a challenge", got.Code)
	}
	for i := range 2 * maxGuessers {
		y.guesses.try(netip.AddrFrom4([4]byte{10, 0, byte(i >> 8), byte(i)}))
	}
	if n := len(y.guesses.past); n > maxGuessers {
		t.Errorf("%d addresses are remembered", n)
	}
}
