package web

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"yardproof/cmd/yardproof/internal/textout"
)

const (
	diskPatience = 50 * time.Millisecond // how long requests wait for the disk before they go by what is known
	seenEvery    = time.Minute           // how often it is noted on disk that a phone was seen
	maxName      = 40                    // characters of a phone's name
)

// A phonebook is the phones that were let in. Requests go by what is in memory, which
// follows the directory: a key removed by another program is gone within [askEvery], and
// a disk that hangs keeps nobody from dark.
type phonebook struct {
	ring *keyring

	entering sync.Mutex // one phone at a time, so that names stay apart

	mu      sync.Mutex
	keys    map[string]key // by hash
	asked   time.Time      // when the directory was last read
	reading chan struct{}  // closed once it has been; nil: nobody reads
	since   time.Time      // when that began
	changes int            // by ourselves; what was read before one is out of date
}

func openPhones(state string) (*phonebook, error) {
	ring, err := phonesOf(state).open()
	if err != nil {
		return nil, err
	}
	keys, err := ring.read()
	return &phonebook{ring: ring, keys: keys, asked: time.Now()}, err
}

// find returns the phone that has a secret.
func (p *phonebook) find(secret string) (key, bool) {
	p.refresh()
	p.mu.Lock()
	defer p.mu.Unlock()
	h, ok := find(p.keys, secret)
	if !ok || !p.ring.fresh(p.keys[h]) {
		return key{}, false
	}
	of := p.keys[h]
	of.seen = time.Now()
	p.keys[h] = of
	of.Name = of.called(h)
	return of, true
}

// refresh reads the directory when it was not read for a while.
func (p *phonebook) refresh() {
	p.mu.Lock()
	if p.reading == nil && time.Since(p.asked) >= askEvery {
		p.reading, p.since = make(chan struct{}), time.Now()
		go p.read(p.reading, p.changes)
	}
	reading, left := p.reading, diskPatience-time.Since(p.since)
	p.mu.Unlock()
	if reading == nil || left <= 0 { // whoever comes while a disk hangs does not wait anew
		return
	}
	select {
	case <-reading:
	case <-time.After(left):
	}
}

// read brings memory up to the directory, and notes there who was seen.
func (p *phonebook) read(done chan struct{}, changes int) {
	keys, err := p.ring.read()
	seen := map[string]time.Time{}
	p.mu.Lock()
	if err == nil && changes == p.changes {
		for h, of := range keys {
			if last := p.keys[h].seen; last.Sub(of.seen) >= seenEvery {
				seen[h] = last
			}
			if last := p.keys[h].seen; last.After(of.seen) {
				of.seen = last
				keys[h] = of
			}
		}
		p.keys = keys
	}
	p.asked = time.Now()
	p.mu.Unlock()
	for h, at := range seen {
		_ = os.Chtimes(p.ring.file(h), at, at) // a disk that takes no word loses no phone
	}
	p.mu.Lock()
	p.reading = nil
	p.mu.Unlock()
	close(done)
}

// enter lets a phone in by a name, or by a number when it has none.
func (p *phonebook) enter(name string) (secret string, of key, err error) {
	p.entering.Lock()
	defer p.entering.Unlock()
	p.mu.Lock()
	of = key{Name: freeName(p.keys, name), Since: time.Now()}
	p.mu.Unlock()
	if secret, err = p.ring.add(of); err != nil {
		return "", key{}, err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	of.seen = of.Since
	p.keys[hash(secret)] = of
	p.changes++
	return secret, of, nil
}

// revoke lets a phone out again.
func (p *phonebook) revoke(name string) error {
	p.mu.Lock()
	h, err := named(p.keys, name)
	delete(p.keys, h)
	p.changes++
	p.mu.Unlock()
	if err != nil {
		return err
	}
	return p.ring.remove(h)
}

// list returns the phones, the newest last.
func (p *phonebook) list() []Phone {
	p.refresh()
	p.mu.Lock()
	defer p.mu.Unlock()
	return listed(p.keys)
}

// Phone is one that was let in.
type Phone struct {
	Name     string    `json:"name"`
	Since    time.Time `json:"since"`
	LastSeen time.Time `json:"last_seen"` // to a minute
}

// ErrNoPhone means that no phone has a name.
var ErrNoPhone = errors.New("no phone has this name")

// Phones returns the phones that were let in to the page of a state directory.
func Phones(state string) ([]Phone, error) {
	keys, err := phonesOf(state).read()
	return listed(keys), err
}

// PrintPhones prints them.
func PrintPhones(out, talk io.Writer, state string) error {
	phones, err := Phones(state)
	if err != nil {
		return err
	}
	if len(phones) == 0 {
		fmt.Fprintln(talk, "no phone was let in; yardproof link makes a link for one")
		return nil
	}
	t := textout.NewTable("phone", "since", "last seen")
	for _, p := range phones {
		t.Add(p.Name, p.Since.Local().Format(textout.Minutes), p.LastSeen.Local().Format(textout.Minutes))
	}
	return t.Print(out)
}

// Revoke lets a phone out. A page that it has open ends within a second. The error is
// [ErrNoPhone] when there is none.
func Revoke(state, name string) error {
	ring := phonesOf(state)
	keys, err := ring.read()
	if err != nil {
		return err
	}
	h, err := named(keys, name)
	if err != nil {
		return err
	}
	return ring.remove(h)
}

func listed(keys map[string]key) []Phone {
	list := []Phone{}
	for _, h := range slices.SortedFunc(maps.Keys(keys), func(a, b string) int {
		return cmp.Or(keys[a].Since.Compare(keys[b].Since), cmp.Compare(keys[a].called(a), keys[b].called(b)))
	}) {
		of := keys[h]
		list = append(list, Phone{of.called(h), of.Since.UTC().Truncate(time.Second), of.seen.UTC().Truncate(time.Second)})
	}
	return list
}

// called returns a key's name; of one that has none, the beginning of its hash.
func (of key) called(hash string) string {
	if of.Name == "" {
		return "phone " + hash[:6]
	}
	return of.Name
}

func named(keys map[string]key, name string) (hash string, err error) {
	for h, of := range keys {
		if of.called(h) == name {
			return h, nil
		}
	}
	return "", fmt.Errorf("%w: %q", ErrNoPhone, name)
}

// freeName returns a name that no key has: the one that was asked for, or with a number.
func freeName(keys map[string]key, name string) string {
	taken := func(name string) bool {
		_, err := named(keys, name)
		return err == nil
	}
	n := 2
	if name == "" {
		name, n = "phone", 1
	} else if !taken(name) {
		return name
	}
	for ; taken(fmt.Sprintf("%s %d", name, n)); n++ {
	}
	return fmt.Sprintf("%s %d", name, n)
}

// checkName tells what is wrong with a phone's name. The empty one is right: it is
// given a number.
func checkName(name string) error {
	switch {
	case utf8.RuneCountInString(name) > maxName:
		return fmt.Errorf("the name has more than %d characters", maxName)
	case strings.TrimSpace(name) != name || strings.IndexFunc(name, func(r rune) bool { return !unicode.IsPrint(r) }) >= 0 || !utf8.ValidString(name):
		return errors.New("the name has characters that cannot be seen")
	}
	return nil
}
