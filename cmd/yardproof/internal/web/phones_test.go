package web

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/sacn/sacntest"
)

// A phone whose key is gone hears no more, even over a stream that is open.
func TestRevokedStreamEnds(t *testing.T) {
	y := newYard(t, remote)
	secret, _, err := y.phones.enter("")
	if err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRequestWithContext(t.Context(), "GET", "http://localhost/api/events", nil)
	r.AddCookie(&http.Cookie{Name: cookieName, Value: secret})
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		y.handler.ServeHTTP(httptest.NewRecorder(), r)
	}()
	select {
	case <-ended:
		t.Fatal("the stream ends by itself")
	case <-time.After(3 * askEvery):
	}
	if err := os.Remove(filepath.Join(y.phones.ring.dir, hash(secret))); err != nil {
		t.Fatal(err)
	}
	select {
	case <-ended:
	case <-time.After(20 * askEvery):
		t.Error("the stream goes on")
	}
}

// token is that of a link for a phone of this name.
func (y *yard) token(t *testing.T, name string) string {
	t.Helper()
	token, err := y.links.add(key{Name: name})
	if err != nil {
		t.Fatal(err)
	}
	return token
}

// let lets one more phone in by a link.
func (y *yard) let(t *testing.T, name string) *http.Cookie {
	t.Helper()
	in := y.do(t, "POST", "/api/session", `{"token":"`+y.token(t, name)+`"}`)
	if in.Code != http.StatusNoContent {
		t.Fatalf("a phone is answered %d %s", in.Code, in.Body)
	}
	return in.Result().Cookies()[0]
}

// Phones have names that stay apart; whoever holds the display is called by one; and
// one that was lost is let out by it.
func TestPhonesHaveNames(t *testing.T) {
	y := newYard(t, remote)
	y.let(t, "")
	anna := y.let(t, "anna's phone")
	y.let(t, "anna's phone")
	last := y.let(t, "")
	names := func() (list []string) {
		var out struct {
			Phones []struct {
				Name  string
				Since time.Time
				This  bool
			}
		}
		y.do(t, "GET", "/api/phones", "").json(&out)
		for _, p := range out.Phones {
			name := p.Name
			if p.This {
				name += " (this)"
			}
			if time.Since(p.Since) > time.Minute {
				t.Errorf("%s is here since %v", p.Name, p.Since)
			}
			list = append(list, name)
		}
		return list
	}
	y.cookie = anna
	if got, want := names(), []string{"phone 1", "anna's phone (this)", "anna's phone 2", "phone 2"}; !slices.Equal(got, want) {
		t.Errorf("the phones are %q, want %q", got, want)
	}
	var st struct{ Hold struct{ By string } }
	if y.do(t, "POST", "/api/dark", "{}").json(&st); st.Hold.By != "anna's phone" {
		t.Errorf("dark is held by %q", st.Hold.By)
	}
	y.cookie = last
	y.wants(t, http.StatusOK, "POST", "/api/phones/revoke", `{"name":"anna's phone"}`)
	y.wants(t, http.StatusNotFound, "POST", "/api/phones/revoke", `{"name":"nobody's"}`)
	if got, want := names(), []string{"phone 1", "anna's phone 2", "phone 2 (this)"}; !slices.Equal(got, want) {
		t.Errorf("the phones are %q, want %q", got, want)
	}
	y.cookie = anna
	y.wants(t, http.StatusUnauthorized, "GET", "/api/state", "")
	// Another program sees the same, after a restart too, and may let one out.
	list, err := Phones(y.cfg.State)
	if err != nil || len(list) != 3 || list[1].Name != "anna's phone 2" {
		t.Errorf("from a shell the phones are %v, %v", list, err)
	}
	if err := Revoke(y.cfg.State, "anna's phone"); !errors.Is(err, ErrNoPhone) {
		t.Errorf("twice let out: %v", err)
	}
	if err := Revoke(y.cfg.State, "phone 2"); err != nil {
		t.Error(err)
	}
	y.cookie = last
	time.Sleep(2 * askEvery)
	y.wants(t, http.StatusUnauthorized, "GET", "/api/state", "")
}

func TestNamesOfPhones(t *testing.T) {
	for name, ok := range map[string]bool{
		"": true, "anna's phone": true, "Änne 2": true, strings.Repeat("é", maxName): true,
		strings.Repeat("e", maxName+1): false, " a": false, "a ": false, "a\nb": false, "\x1b[31m": false, "a\u202eb": false, "\xff": false,
	} {
		if err := checkName(name); (err == nil) != ok {
			t.Errorf("%q: %v", name, err)
		}
	}
}

// Keys of before phones had names are good, and have one to be let out by; a key's time
// is its own, whenever the phone was seen.
func TestKeysOfBefore(t *testing.T) {
	dir := t.TempDir()
	p, err := openPhones(dir)
	if err != nil {
		t.Fatal(err)
	}
	sacntest.Write(t, p.ring.file(hash("old")), "")
	sacntest.Write(t, p.ring.file(hash("rubbish")), "{{{")
	aged, _ := json.Marshal(key{Name: "aged", Since: time.Now().Add(-phoneLife - time.Hour)})
	sacntest.Write(t, p.ring.file(hash("aged")), aged)
	p.asked = time.Time{}
	for secret, ok := range map[string]bool{"old": true, "rubbish": true, "aged": false} {
		if of, got := p.find(secret); got != ok || ok && of.Name != "phone "+hash(secret)[:6] {
			t.Errorf("%s: %v, called %q", secret, got, of.Name)
		}
	}
	if err := Revoke(dir, "phone "+hash("old")[:6]); err != nil {
		t.Error(err)
	}
}

// When a phone was seen last outlasts the program.
func TestLastSeen(t *testing.T) {
	dir := t.TempDir()
	p, err := openPhones(dir)
	if err != nil {
		t.Fatal(err)
	}
	secret, _, err := p.enter("")
	if err != nil {
		t.Fatal(err)
	}
	past := time.Now().Add(-time.Hour)
	if err := os.Chtimes(p.ring.file(hash(secret)), past, past); err != nil {
		t.Fatal(err)
	}
	p.find(secret)
	p.asked = time.Time{}
	p.refresh()
	list, err := Phones(dir)
	if err != nil || len(list) != 1 || time.Since(list[0].LastSeen) > time.Minute {
		t.Errorf("%v, %v", list, err)
	}
}

// A directory that is read for ever holds up whoever comes first for a moment, and
// nobody after that: the phones that are known stay known, and one that is let out is out.
func TestHungDirectory(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &phonebook{ring: &keyring{life: phoneLife}, keys: map[string]key{hash("secret"): {Name: "one", Since: time.Now()}}, reading: make(chan struct{}), since: time.Now()}
		begun := time.Now()
		for range 100 {
			if _, known := p.find("secret"); !known {
				t.Fatal("the phone is not known")
			}
		}
		if took := time.Since(begun); took != diskPatience {
			t.Errorf("a hundred requests waited %v in all, want %v", took, diskPatience)
		}
		if err := p.revoke("one"); err == nil {
			t.Error("that a phone was let out is said to be on disk")
		}
		if _, known := p.find("secret"); known {
			t.Error("a phone that was let out is known until the disk answers")
		}
	})
}
