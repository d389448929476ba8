package record

import (
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

// ErrInUse means that another program has the record open for writing.
var ErrInUse = errors.New("another yardproof writes this record; stop that one, or give each its own --state")

// Log is the record open for appending, by one program at a time. It remembers what
// its [Index] does. Reading never waits for the disk.
type Log struct {
	dir    string
	turn   chan struct{} // held by who writes; these belong to it
	file   *os.File      // nil: there is none that could be written to
	size   int64         // of the whole lines
	repair bool          // what lies past size is to be cut off first
	torn   []byte        // and, before that, this is to be set aside

	mu      sync.RWMutex
	index   Index
	problem error // why nothing is recorded now; nil: nothing is wrong
}

// Open opens the record in the directory, and creates it when there is none. What
// follows the last line break is a line that never was acknowledged: it is set
// aside in [TornName]. The notes say so, and which whole lines make no sense; those
// stay where they are. A disk that is full, read-only or broken is no error: the
// log then is as [Refusing] makes it.
func Open(dir string) (l *Log, notes []string, err error) {
	path := filepath.Join(dir, FileName)
	if err := mustBeFile(path); err != nil {
		return nil, nil, err
	}
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err == nil {
		err = durable.SyncDir(dir)
	}
	if durable.NoDisk(err) {
		if file != nil {
			file.Close()
		}
		l, notes := Refusing(dir, err)
		return l, notes, nil
	}
	if err != nil {
		return nil, nil, fmt.Errorf("proof record: %w", err)
	}
	defer func() {
		if err != nil {
			file.Close()
		}
	}()
	if err := durable.Lock(file); errors.Is(err, durable.ErrLocked) {
		return nil, nil, fmt.Errorf("proof record %s: %w", path, ErrInUse)
	} else if err != nil {
		return nil, nil, fmt.Errorf("proof record %s: %w", path, err)
	}
	l = newLog(dir)
	l.file = file
	if notes, err = l.read(file); err != nil {
		return nil, nil, fmt.Errorf("proof record %s: %w", path, err)
	}
	if n := len(l.torn); n > 0 {
		if err := l.mend(); err != nil {
			l.problem = err
			notes = append(notes, fmt.Sprintf("%s: its last %d octets are a torn line, and until that can be set aside nothing is recorded: %v", path, n, err))
		} else {
			notes = append(notes, fmt.Sprintf("%s: its last %d octets were a torn line and are now in %s", path, n, TornName))
		}
	}
	return l, notes, nil
}

// Refusing returns a log that records nothing, for this reason, and knows what the
// record in the directory holds, if it can be read.
func Refusing(dir string, because error) (l *Log, notes []string) {
	l = newLog(dir)
	l.problem = because
	path := filepath.Join(dir, FileName)
	if mustBeFile(path) != nil {
		return l, nil
	}
	file, err := os.Open(path)
	if err == nil {
		defer file.Close()
		notes, err = l.read(file)
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		notes = append(notes, fmt.Sprintf("what is recorded cannot be read: %v", err))
	}
	l.torn = nil
	return l, notes
}

func newLog(dir string) *Log { return &Log{dir: dir, turn: make(chan struct{}, 1)} }

// read makes the index. Of most lines it needs the head only.
func (l *Log) read(file io.ReaderAt) (notes []string, err error) {
	for _, thorough := range []bool{false, true} {
		left := leftOut{}
		l.index = Index{}
		l.torn, l.size, err = eachLine(file, func(number int, at int64, text []byte) {
			if h, ok := readHead(text); ok && !thorough {
				l.index.add(h, mark{at: at, octets: len(text)})
				return
			}
			line, err := decode(text)
			if err != nil {
				left.add(number, err)
				return
			}
			l.index.add(headOf(&line), mark{line: &line, at: at, octets: len(text)})
		})
		if err != nil {
			return nil, err
		}
		notes = left.notes()
		if l.index.resolve(func(at int64, octets int) (Line, error) { return lineAt(file, at, octets) }) == nil {
			break
		} // else a head made sense and its line does not
	}
	return notes, nil
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
// is the line's, [ErrAgain] says that it was recorded before, any other is the
// disk's. A zero time is now.
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
	if err := l.take(); err != nil {
		return line, fmt.Errorf("proof record: nothing was recorded: %w", err)
	}
	defer func() { <-l.turn }()
	if first, err := l.again(line.Once); err != nil {
		return line, fmt.Errorf("proof record: nothing was recorded: %w", err)
	} else if first != nil {
		if first.Kind != line.Kind || first.String != line.String || first.Controller != line.Controller {
			return line, fmt.Errorf("%w: once %q belongs to another line", ErrLine, line.Once)
		}
		return *first, ErrAgain
	}
	m := mark{line: &line, at: l.size, octets: len(text)}
	err = l.write(text)
	l.mu.Lock()
	defer l.mu.Unlock()
	if err != nil {
		err = fmt.Errorf("proof record: nothing was recorded: %w", err)
		if l.file != nil { // else the problem stays what it was from the start
			l.problem = err
		}
		return line, err
	}
	l.index.add(headOf(&line), m)
	l.problem = nil
	return line, nil
}

// maxWait is how long a line waits for those before it.
const maxWait = 10 * time.Second

// take waits for the turn to write. A disk that hangs holds those who record, and
// nobody else.
func (l *Log) take() error {
	patience := time.NewTimer(maxWait)
	defer patience.Stop()
	select {
	case l.turn <- struct{}{}:
		return nil
	case <-patience.C:
		err := fmt.Errorf("the disk has not answered for %v", maxWait)
		l.mu.Lock()
		defer l.mu.Unlock()
		l.problem = err
		return err
	}
}

// write puts a line on disk.
func (l *Log) write(text []byte) error {
	if l.file == nil {
		return l.Problem()
	}
	if err := l.mend(); err != nil {
		return err
	}
	if err := l.unchanged(); err != nil {
		return err
	}
	l.repair = true
	_, err := l.file.WriteAt(text, l.size)
	if err == nil {
		err = l.file.Sync()
	}
	if err == nil {
		err = l.same() // changed in that very moment
	}
	if err != nil {
		return errors.Join(err, l.cut())
	}
	l.repair = false
	l.size += int64(len(text))
	return nil
}

// Problem returns why nothing is recorded at the moment, as far as is known; nil
// when the last line that was to be recorded was.
func (l *Log) Problem() error {
	l.mu.RLock()
	defer l.mu.RUnlock()
	return l.problem
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

// read asks the index, which lines are added to meanwhile.
func read[T any](l *Log, ask func(*Index) T) T {
	l.mu.RLock()
	defer l.mu.RUnlock()
	return ask(&l.index)
}

// Len returns how many lines are recorded.
func (l *Log) Len() int { return read(l, (*Index).Len) }

// Standings is described at [Index.Standings].
func (l *Log) Standings() []Standing { return read(l, (*Index).Standings) }

// Spare is described at [Index.Spare].
func (l *Log) Spare(name string) string {
	return read(l, func(x *Index) string { return x.Spare(name) })
}

// Whites is described at [Index.Whites].
func (l *Log) Whites() []Line { return read(l, (*Index).Whites) }

// Mends is described at [Index.Mends].
func (l *Log) Mends() map[string]int { return read(l, (*Index).Mends) }

// Benches is described at [Index.Benches].
func (l *Log) Benches() []Line { return read(l, (*Index).Benches) }

// Seen is described at [Index.Seen].
func (l *Log) Seen(controller string, words ...string) (seen string, changed int) {
	l.mu.RLock()
	defer l.mu.RUnlock()
	return l.index.Seen(controller, words...)
}

// Close closes the file.
func (l *Log) Close() error {
	if l.file == nil {
		return nil
	}
	return l.file.Close()
}
