package record

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"

	"yardproof/cmd/yardproof/internal/durable"
)

// The files in the state directory.
const (
	FileName = "record.jsonl"
	TornName = "record.torn" // what was cut off, each piece after a line that says so
)

// Log is the record open for appending. One program at a time has it open; the
// state directory's lock sees to that.
type Log struct {
	dir    string
	mu     sync.Mutex
	file   *os.File
	size   int64  // of the whole lines
	repair bool   // what lies past size is to be cut off first
	torn   []byte // and, before that, this is to be set aside
	lines  []Line
}

// Open opens the record in the directory, and creates it when there is none. What
// follows the last line break is a line that never was acknowledged: it is set
// aside in [TornName]. The notes say so, and which whole lines make no sense; those
// stay where they are.
func Open(dir string) (l *Log, notes []string, err error) {
	path := filepath.Join(dir, FileName)
	if err := mustBeFile(path); err != nil {
		return nil, nil, err
	}
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, nil, fmt.Errorf("proof record: %w", err)
	}
	defer func() {
		if err != nil {
			file.Close()
		}
	}()
	if err := durable.SyncDir(dir); err != nil {
		return nil, nil, fmt.Errorf("proof record: %w", err)
	}
	lines, rest, size, notes, err := scan(file)
	if err != nil {
		return nil, nil, fmt.Errorf("proof record %s: %w", path, err)
	}
	l = &Log{dir: dir, file: file, lines: lines, size: size, torn: rest}
	if len(rest) > 0 {
		if err := l.mend(); err != nil {
			notes = append(notes, fmt.Sprintf("%s: its last %d octets are a torn line, and until that can be set aside nothing is recorded: %v", path, len(rest), err))
		} else {
			notes = append(notes, fmt.Sprintf("%s: its last %d octets were a torn line and are now in %s", path, len(rest), TornName))
		}
	}
	return l, notes, nil
}

// mustBeFile refuses what would be read without end, such as a pipe.
func mustBeFile(path string) error {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return fmt.Errorf("proof record: %s is no ordinary file; move it away", path)
	}
	return nil
}

// setAside keeps a torn piece before it is cut off.
func setAside(dir string, at int64, piece []byte) (err error) {
	file, err := os.OpenFile(filepath.Join(dir, TornName), os.O_WRONLY|os.O_APPEND|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	if _, err := fmt.Fprintf(file, "# set aside %s, %d octets from octet %d of %s\n%s\n",
		time.Now().UTC().Format(time.RFC3339), len(piece), at, FileName, piece); err != nil {
		return err
	}
	if err := file.Sync(); err != nil {
		return err
	}
	return durable.SyncDir(dir)
}

// Append records a line. When it returns nil the line is on disk; when it returns
// an error nothing of the line is left in the file. An error that wraps [ErrLine]
// is the line's, any other the disk's. A zero time is now.
func (l *Log) Append(line Line) (Line, error) {
	if line.Time.IsZero() {
		line.Time = time.Now()
	}
	line.Time = line.Time.UTC().Truncate(time.Millisecond)
	if err := line.Check(); err != nil {
		return line, err
	}
	text, err := line.encode()
	if err != nil {
		return line, fmt.Errorf("%w: %w", ErrLine, err)
	}
	if len(text) > maxLine {
		return line, fmt.Errorf("%w: it is longer than %d octets", ErrLine, maxLine)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if err := l.mend(); err != nil {
		return line, fmt.Errorf("proof record: nothing was recorded: %w", err)
	}
	if err := l.unchanged(); err != nil {
		return line, fmt.Errorf("proof record: nothing was recorded: %w", err)
	}
	l.repair = true
	if _, err = l.file.WriteAt(text, l.size); err == nil {
		err = l.file.Sync()
	}
	if err != nil {
		return line, errors.Join(fmt.Errorf("proof record: nothing was recorded: %w", err), l.cut())
	}
	if err := l.same(); err != nil { // in that very moment
		return line, fmt.Errorf("proof record: %w", errors.Join(err, l.cut()))
	}
	l.repair = false
	l.size += int64(len(text))
	l.lines = append(l.lines, line)
	return line, nil
}

// mend makes the file end with its last whole line.
func (l *Log) mend() error {
	if len(l.torn) > 0 {
		if err := setAside(l.dir, l.size, l.torn); err != nil {
			return fmt.Errorf("a torn line cannot be set aside: %w", err)
		}
		l.torn, l.repair = nil, true
	}
	if l.repair {
		return l.cut()
	}
	return nil
}

// unchanged reports what another program has done to the file: what an editor, a copy
// or a second transmitter writes there must not be written over.
func (l *Log) unchanged() error {
	info, err := l.file.Stat()
	if err != nil {
		return err
	}
	if info.Size() != l.size {
		return fmt.Errorf("another program has changed %s; it has %d octets, and had %d; start yardproof again, which reads it anew",
			l.file.Name(), info.Size(), l.size)
	}
	return l.same()
}

// same reports whether the name still leads to the open file.
func (l *Log) same() error {
	ours, err := l.file.Stat()
	if err != nil {
		return err
	}
	named, err := os.Stat(l.file.Name())
	if err != nil {
		return fmt.Errorf("the record is no longer in its place: %w; start yardproof again", err)
	}
	if !os.SameFile(ours, named) {
		return fmt.Errorf("another file has taken the place of %s; start yardproof again, which reads it anew", l.file.Name())
	}
	return nil
}

// cut takes the file back to its last line break.
func (l *Log) cut() error {
	if err := l.file.Truncate(l.size); err != nil {
		return err
	}
	if err := l.file.Sync(); err != nil {
		return err
	}
	l.repair = false
	return nil
}

// Lines returns what is recorded, the oldest first. It must not be changed.
func (l *Log) Lines() []Line {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.lines[:len(l.lines):len(l.lines)]
}

// Len returns how many lines there are.
func (l *Log) Len() int { return len(l.Lines()) }

// Close closes the file.
func (l *Log) Close() error { return l.file.Close() }

// Read reads the record in a directory without changing anything, also while
// another program appends to it. No record is no lines.
func Read(dir string) (lines []Line, notes []string, err error) {
	path := filepath.Join(dir, FileName)
	if err := mustBeFile(path); err != nil {
		return nil, nil, err
	}
	file, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, nil
	}
	if err != nil {
		return nil, nil, fmt.Errorf("proof record: %w", err)
	}
	defer file.Close()
	lines, rest, _, notes, err := scan(file)
	if err != nil {
		return nil, nil, fmt.Errorf("proof record %s: %w", file.Name(), err)
	}
	if len(rest) > 0 {
		notes = append(notes, fmt.Sprintf("%s ends in the middle of a line: that line is being written, or never was acknowledged", file.Name()))
	}
	return lines, notes, nil
}

// maxNotes is how many lines that make no sense are named one by one.
const maxNotes = 20

// scan reads whole lines; rest is what follows the last of them, at octet size.
func scan(r io.Reader) (lines []Line, rest []byte, size int64, notes []string, err error) {
	in := bufio.NewReaderSize(r, 1<<16)
	bad := 0
	for number := 1; ; number++ {
		text, err := in.ReadBytes('\n')
		if err == io.EOF {
			if bad > maxNotes {
				notes = append(notes, fmt.Sprintf("%s: %d lines are left out in all", FileName, bad))
			}
			return lines, text, size, notes, nil
		}
		if err != nil {
			return nil, nil, 0, nil, err
		}
		size += int64(len(text))
		if len(bytes.TrimSpace(text)) == 0 {
			continue
		}
		var line Line
		err = json.Unmarshal(text, &line)
		if err == nil {
			err = line.Check()
		}
		if err != nil {
			if bad++; bad <= maxNotes {
				notes = append(notes, fmt.Sprintf("%s:%d is left out: %s", FileName, number, Shown(err.Error())))
			}
			continue
		}
		lines = append(lines, line)
	}
}
