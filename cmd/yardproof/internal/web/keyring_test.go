package web

import (
	"bytes"
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestLinksLetOnePhoneInOnce(t *testing.T) {
	y := newYard(t, remote)
	link, err := newLink(y.links, "http://192.0.2.5:9531", "")
	if err != nil {
		t.Fatal(err)
	}
	base, token, _ := strings.Cut(link, "#")
	if base != "http://192.0.2.5:9531/" || len(token) < 22 { // 128 bits in base 64
		t.Fatalf("the link is %q", link)
	}
	in := y.do(t, "POST", "/api/session", `{"token":"`+token+`"}`)
	if in.Code != http.StatusNoContent {
		t.Fatalf("the link answers %d %s", in.Code, in.Body)
	}
	c := in.Result().Cookies()[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || len(c.Value) < 22 || c.Value == token {
		t.Errorf("the cookie is %v", c)
	}
	y.wants(t, http.StatusForbidden, "POST", "/api/session", `{"token":"`+token+`"}`)
	y.cookie = c
	y.wants(t, http.StatusOK, "GET", "/api/state", "")

	// Neither secret is on disk, and a restart locks nobody out.
	err = filepath.WalkDir(y.cfg.State, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		for _, secret := range []string{token, c.Value} {
			if strings.Contains(path, secret) || bytes.Contains(b, []byte(secret)) {
				t.Errorf("%s holds a secret", path)
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	state := y.cfg.State
	y = newYard(t, func(cfg *Config) { remote(cfg); cfg.State = state })
	y.cookie = c
	y.wants(t, http.StatusOK, "GET", "/api/state", "")
	// It may let in another.
	made := y.do(t, "POST", "/api/links", "{}")
	var out struct {
		Link string
		QR   []string
	}
	made.json(&out)
	_, token, _ = strings.Cut(out.Link, "#")
	if made.Code != http.StatusCreated || len(out.QR) < 21 {
		t.Fatalf("another phone: %d, %d rows", made.Code, len(out.QR))
	}
	y.cookie = nil
	y.wants(t, http.StatusNoContent, "POST", "/api/session", `{"token":"`+token+`"}`)
}

func TestLinksRunOut(t *testing.T) {
	y := newYard(t, remote)
	for age, good := range map[time.Duration]bool{0: true, 9 * time.Minute: true, 11 * time.Minute: false, -time.Hour: false} {
		token := y.token(t, "")
		made := time.Now().Add(-age)
		if err := os.Chtimes(filepath.Join(y.links.dir, hash(token)), made, made); err != nil {
			t.Fatal(err)
		}
		if _, got := y.links.take(token); got != good {
			t.Errorf("after %v a link is good: %v", age, got)
		}
	}
	// What has run out is swept away, and the ring does not grow without end.
	for range maxKeys + 20 {
		y.token(t, "")
	}
	left, err := os.ReadDir(y.links.dir)
	if err != nil || len(left) != maxKeys {
		t.Errorf("%d keys are kept, %v", len(left), err)
	}
}

func TestGuessing(t *testing.T) {
	y := newYard(t, remote)
	token := y.token(t, "")
	hostile := []string{"", "x", token + "A", token[1:], strings.ToLower(token), "../links/" + hash(token), hash(token), "\x00", strings.Repeat("A", 9000), "."}
	for _, guess := range hostile {
		b, _ := json.Marshal(map[string]string{"token": guess})
		y.wants(t, http.StatusForbidden, "POST", "/api/session", string(b))
	}
	got := y.do(t, "POST", "/api/session", `{"token":"`+token+`"}`)
	if got.Code != http.StatusTooManyRequests || got.Header().Get("Retry-After") == "" {
		t.Errorf("after ten wrong ones in a minute: %d, Retry-After %q", got.Code, got.Header().Get("Retry-After"))
	}
	for _, past := range y.guesses.past {
		for i := range past {
			past[i] = past[i].Add(-time.Minute)
		}
	}
	y.wants(t, http.StatusNoContent, "POST", "/api/session", `{"token":"`+token+`"}`)
}
