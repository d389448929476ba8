// Package footage gives the frames of a film, as JPEG, with the times at which they are
// shown: those of a directory of pictures, or of any file that ffmpeg reads. It refuses
// to know what is in them, and keeps none.
package footage

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"yardproof/cmd/yardproof/internal/textout"
)

// Take takes one frame. Its error ends the film, and is returned.
type Take func(at time.Duration, frame []byte) error

// Each gives all frames of the film at a path to take, in order.
func Each(ctx context.Context, path string, take Take) error {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("there is no film %s", path)
	case err != nil:
		return fmt.Errorf("reading the film: %w", err)
	case info.IsDir():
		return ofDirectory(ctx, path, take)
	case !info.Mode().IsRegular():
		return fmt.Errorf("%s is neither a file nor a directory", path)
	case info.Size() == 0:
		return fmt.Errorf("%s is empty: copy it from the phone again", path)
	}
	return ofFile(ctx, path, take)
}

const (
	timesName = "times.txt"
	maxFrame  = 16 << 20 // octets of one frame
	maxTimes  = 1 << 20  // octets of all times
	maxNumber = 1e6      // seconds: more is no time in a film
)

// ofDirectory takes JPEGs in the order of their names; times.txt has a line for each,
// in seconds.
func ofDirectory(ctx context.Context, dir string, take Take) error {
	all, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("reading the film: %w", err)
	}
	var names []string
	for _, e := range all {
		switch strings.ToLower(filepath.Ext(e.Name())) {
		case ".jpg", ".jpeg":
			names = append(names, e.Name())
		}
	}
	if len(names) == 0 {
		return fmt.Errorf("%s has no JPEG frames: name them so that their order is that of the film, 0001.jpg and so on", dir)
	}
	times, err := readTimes(filepath.Join(dir, timesName))
	if err != nil {
		return err
	}
	if len(times) != len(names) {
		return fmt.Errorf("%s has %s and %s %s: write one line for each frame", dir, textout.Count(len(names), "frame"), timesName, textout.Count(len(times), "time"))
	}
	for i, name := range names {
		frame, err := readAtMost(filepath.Join(dir, name), maxFrame)
		if err == nil {
			err = ctx.Err()
		}
		if err == nil {
			err = take(times[i], frame)
		}
		if err != nil {
			return fmt.Errorf("%s: %w", filepath.Join(dir, name), err)
		}
	}
	return nil
}

func readTimes(path string) ([]time.Duration, error) {
	text, err := readAtMost(path, maxTimes)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s is missing: write in it when each frame was shown, in seconds, a line a frame", path)
	}
	if err != nil {
		return nil, fmt.Errorf("reading the times: %w", err)
	}
	var times []time.Duration
	for i, line := range strings.Split(strings.TrimRight(string(text), "\r\n\t "), "\n") {
		line = strings.TrimSpace(line)
		at, err := strconv.ParseFloat(line, 64)
		if err != nil || !(at >= 0 && at < maxNumber) {
			return nil, fmt.Errorf("%s:%d: %.20q is no time: write seconds, such as 0.077", path, i+1, line)
		}
		times = append(times, seconds(at))
	}
	return times, nil
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

func readAtMost(path string, most int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, most+1))
	if err == nil && int64(len(b)) > most {
		err = fmt.Errorf("it is longer than %d MB", most>>20)
	}
	return b, err
}
