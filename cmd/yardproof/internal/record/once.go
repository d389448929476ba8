package record

import (
	"errors"
	"fmt"
	"strings"
)

// A line may carry a word that whoever asked for it made up, [Line.Once]. An answer
// that was lost on the way makes people ask again; the word shows that it is the same
// deed, also after a restart.

// ErrAgain means that the line was sent before and is on record already. The line that
// comes with it is the one on record.
var ErrAgain = errors.New("it is on record already")

const (
	maxOnce     = 64
	onceLetters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_"

	// maxAsked is how many of the latest words are remembered: whoever was not
	// answered asks again within an evening.
	maxAsked = 4096
)

func checkOnce(word string) bool {
	return len(word) <= maxOnce && strings.Trim(word, onceLetters) == ""
}

// asked remembers where the lines of the latest words are.
type asked struct {
	places map[string]Place
	ring   []string // the oldest is at next once it is full
	next   int
}

func (a *asked) add(word []byte, p Place) {
	if len(word) == 0 {
		return
	}
	if a.places == nil {
		a.places = map[string]Place{}
	}
	text := string(word)
	switch {
	case a.places[text].Octets > 0:
		return // the first counts
	case len(a.ring) < maxAsked:
		a.ring = append(a.ring, text)
	default:
		delete(a.places, a.ring[a.next])
		a.ring[a.next] = text
		a.next = (a.next + 1) % maxAsked
	}
	a.places[text] = p
}

// Again returns the line that was recorded with a word, as it is on disk; nil: there is
// none, or it was long ago.
func (l *Log) Again(word string) (*Line, error) {
	if word == "" {
		return nil, nil
	}
	if err := l.take(); err != nil {
		return nil, fmt.Errorf("proof record: %w", err)
	}
	defer func() { <-l.turn }()
	line, err := l.again(word)
	if err != nil {
		err = fmt.Errorf("proof record: %w", err)
	}
	return line, err
}

// again is Again for whoever has the turn.
func (l *Log) again(word string) (*Line, error) {
	l.mu.RLock()
	p, ok := l.index.asked.places[word]
	l.mu.RUnlock()
	if !ok || l.file == nil {
		return nil, nil
	}
	if err := l.unchanged(); err != nil {
		return nil, err
	}
	line, err := lineAt(l.file, p.At, int(p.Octets))
	if err == nil && line.Once != word {
		err = fmt.Errorf("another program has changed %s", l.file.Name())
	}
	return &line, err
}
