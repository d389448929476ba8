package record

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
)

// Reader reads a record without changing anything, also while another program
// appends to it. It keeps none of the lines.
type Reader struct {
	file *os.File // nil: there is no record
	end  int64    // what is written later is another reading's

	left leftOut
	torn bool
	err  error
}

// OpenReader opens the record in a directory. No record is one without lines.
func OpenReader(dir string) (*Reader, error) {
	path := filepath.Join(dir, FileName)
	if err := mustBeFile(path); err != nil {
		return nil, err
	}
	file, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return &Reader{}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("proof record: %w", err)
	}
	info, err := file.Stat()
	if err != nil {
		file.Close()
		return nil, fmt.Errorf("proof record: %w", err)
	}
	return &Reader{file: file, end: info.Size()}, nil
}

// ReadIndex goes over the record in a directory.
func ReadIndex(dir string) (*Index, error) {
	r, err := OpenReader(dir)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	x := &Index{}
	for _, l := range r.Lines() {
		x.Add(l)
	}
	return x, r.Err()
}

// Close closes the file.
func (r *Reader) Close() error {
	if r.file == nil {
		return nil
	}
	return r.file.Close()
}

// Place is where a line is in the file.
type Place struct {
	At     int64
	Octets int32
}

// Lines returns the lines as they were written. Err and Notes tell afterwards how
// that went.
func (r *Reader) Lines() iter.Seq2[Place, *Line] {
	return func(yield func(Place, *Line) bool) {
		r.left, r.torn, r.err = leftOut{}, false, nil
		if r.file == nil {
			return
		}
		over := false
		rest, _, err := eachLine(io.NewSectionReader(r.file, 0, r.end), func(number int, at int64, text []byte) {
			if over {
				return
			}
			line, err := decode(text)
			if err != nil {
				r.left.add(number, err)
				return
			}
			over = !yield(Place{at, int32(len(text))}, &line)
		})
		r.torn = len(rest) > 0
		if err != nil {
			r.err = fmt.Errorf("proof record %s: %w", r.file.Name(), err)
		}
	}
}

// Line returns the line at a place.
func (r *Reader) Line(p Place) (Line, error) { return lineAt(r.file, p.At, int(p.Octets)) }

// Err returns why not all lines could be read.
func (r *Reader) Err() error { return r.err }

// Notes tells what of the record makes no sense.
func (r *Reader) Notes() []string {
	notes := r.left.notes()
	if r.torn {
		notes = append(notes, fmt.Sprintf("%s ends in the middle of a line: that line is being written, or never was acknowledged", r.file.Name()))
	}
	return notes
}

// maxNotes is how many lines that make no sense are named one by one.
const maxNotes = 20

// leftOut is lines that make no sense.
type leftOut struct {
	bad   int
	named []string
}

func (o *leftOut) add(number int, err error) {
	if o.bad++; o.bad <= maxNotes {
		o.named = append(o.named, fmt.Sprintf("%s:%d is left out: %s", FileName, number, Shown(err.Error())))
	}
}

func (o *leftOut) notes() []string {
	if o.bad > maxNotes {
		return append(o.named[:maxNotes:maxNotes], fmt.Sprintf("%s: %d lines are left out in all", FileName, o.bad))
	}
	return o.named
}

// eachLine goes over the whole lines that are not blank. The text is good until do
// returns. The rest is what follows the last line break, at octet size.
func eachLine(r io.ReaderAt, do func(number int, at int64, text []byte)) (rest []byte, size int64, err error) {
	in := bufio.NewReaderSize(io.NewSectionReader(r, 0, 1<<62), 1<<16)
	var long []byte // the beginning of a line that is longer than the buffer
	for number := 1; ; {
		text, err := in.ReadSlice('\n')
		if errors.Is(err, bufio.ErrBufferFull) {
			long = append(long, text...)
			continue
		}
		if len(long) > 0 {
			long = append(long, text...)
			text, long = long, nil
		}
		if errors.Is(err, io.EOF) {
			return bytes.Clone(text), size, nil
		}
		if err != nil {
			return nil, 0, err
		}
		if len(bytes.TrimSpace(text)) > 0 {
			do(number, size, text)
		}
		size += int64(len(text))
		number++
	}
}

// lineAt reads one line again.
func lineAt(r io.ReaderAt, at int64, octets int) (Line, error) {
	text := make([]byte, octets)
	if _, err := r.ReadAt(text, at); err != nil {
		return Line{}, err
	}
	return decode(text)
}
