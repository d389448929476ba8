package web

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
)

// How long what opens the page is good for.
const (
	linkLife  = 10 * time.Minute
	phoneLife = 60 * 24 * time.Hour // a season
	maxKeys   = 256                 // of one kind; the oldest makes room
)

// A keyring is a directory of secrets that are good for a while. Only their
// SHA-256 hashes are kept, each as the name of an empty file whose time of
// change is when it was made, so that two programs can share a keyring: making
// a file and removing it are each one step.
type keyring struct {
	dir  string
	life time.Duration
}

func openLinks(state string) (*keyring, error) {
	return openKeyring(filepath.Join(state, "links"), linkLife)
}

func openPhones(state string) (*keyring, error) {
	return openKeyring(filepath.Join(state, "phones"), phoneLife)
}

func openKeyring(dir string, life time.Duration) (*keyring, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("state directory: %w", err)
	}
	return &keyring{dir: dir, life: life}, nil
}

// add makes a secret of 128 random bits.
func (k *keyring) add() (string, error) {
	secret := make([]byte, 16)
	rand.Read(secret) // never fails
	text := base64.RawURLEncoding.EncodeToString(secret)
	k.sweep()
	f, err := os.OpenFile(filepath.Join(k.dir, hash(text)), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return "", fmt.Errorf("state directory: %w", err)
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return "", fmt.Errorf("state directory: %w", err)
	}
	return text, nil
}

func hash(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// find returns the file of a secret that is still good. Every key is compared,
// and each comparison takes the same time whatever it finds.
func (k *keyring) find(secret string) (file string, ok bool) {
	want := []byte(hash(secret))
	entries, err := os.ReadDir(k.dir)
	if err != nil {
		return "", false
	}
	for _, e := range entries {
		if subtle.ConstantTimeCompare([]byte(e.Name()), want) != 1 {
			continue
		}
		if info, err := e.Info(); err == nil && k.fresh(info) {
			file, ok = filepath.Join(k.dir, e.Name()), true
		}
	}
	return file, ok
}

// has reports whether a secret is good.
func (k *keyring) has(secret string) bool {
	_, ok := k.find(secret)
	return ok
}

// take reports whether a secret is good, and makes it good no more. Of several
// that take one secret at the same moment, one succeeds.
func (k *keyring) take(secret string) bool {
	file, ok := k.find(secret)
	return ok && os.Remove(file) == nil
}

func (k *keyring) fresh(info fs.FileInfo) bool {
	age := time.Since(info.ModTime())
	return age < k.life && age > -k.life // a clock that was set back does not make a key eternal
}

// sweep removes what has run out, and the oldest above the cap.
func (k *keyring) sweep() {
	entries, err := os.ReadDir(k.dir)
	if err != nil {
		return
	}
	var left []fs.FileInfo
	for _, e := range entries {
		if len(e.Name()) != 2*sha256.Size || strings.Trim(e.Name(), "0123456789abcdef") != "" {
			continue // not ours
		}
		info, err := e.Info()
		if err != nil {
			continue
		}
		if !k.fresh(info) {
			os.Remove(filepath.Join(k.dir, e.Name()))
			continue
		}
		left = append(left, info)
	}
	for len(left) >= maxKeys {
		oldest := 0
		for i, info := range left {
			if info.ModTime().Before(left[oldest].ModTime()) {
				oldest = i
			}
		}
		os.Remove(filepath.Join(k.dir, left[oldest].Name()))
		left = append(left[:oldest], left[oldest+1:]...)
	}
}

// guesses counts wrong tokens: each address may try ten a minute, so that who tries
// more shuts out nobody else.
type guesses struct {
	mu   sync.Mutex
	past map[netip.Addr][]time.Time // of the last minute
}

const (
	maxGuesses  = 10
	maxGuessers = 1024 // addresses that are remembered; a token has 128 bits, whoever forgets
)

// try takes one guess, or says how long to wait for one.
func (g *guesses) try(from netip.Addr) (wait time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	now := time.Now()
	old := func(at time.Time) bool { return now.Sub(at) >= time.Minute }
	past := slices.DeleteFunc(g.past[from], old)
	if len(past) >= maxGuesses {
		return time.Minute - now.Sub(past[0])
	}
	if len(g.past) >= maxGuessers {
		maps.DeleteFunc(g.past, func(_ netip.Addr, past []time.Time) bool { return old(past[len(past)-1]) })
	}
	if g.past == nil || len(g.past) >= maxGuessers {
		g.past = map[netip.Addr][]time.Time{}
	}
	g.past[from] = append(past, now)
	return 0
}

// right forgets the guesses of an address that has just brought a good token.
func (g *guesses) right(from netip.Addr) {
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.past, from)
}
