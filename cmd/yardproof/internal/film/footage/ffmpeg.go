package footage

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"strconv"
	"strings"
	"time"
)

const (
	spacing = 0.062     // seconds: of thirty frames a second every other one is enough
	longer  = 1920      // pixels of the longer side: larger ones are scaled down
	most    = 1 << 14   // frames whose times may wait for their pictures
	maxTalk = 64 * 1024 // octets of a line that ffmpeg says
)

// ofFile has ffmpeg turn a file into JPEGs: upright, as the phone says it was held, and
// as many as are needed. Their times come beside them, since phones film at rates of
// their own.
func ofFile(ctx context.Context, path string, take Take) error {
	tool, err := exec.LookPath("ffmpeg")
	if err != nil {
		return fmt.Errorf("to read %s ffmpeg is needed, and it is not installed: install it, hand the film to the page, or give a directory of JPEG frames with %s", path, timesName)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	fit := fmt.Sprintf("w='if(gte(iw,ih),min(%d,iw),-2)':h='if(gte(iw,ih),-2,min(%[1]d,ih))'", longer)
	cmd := exec.CommandContext(ctx, tool, "-nostdin", "-hide_banner", "-nostats", "-v", "error", "-protocol_whitelist", "file,pipe",
		"-i", "file:"+path, "-map", "0:V:0",
		"-vf", fmt.Sprintf("select='isnan(prev_selected_t)+gte(t-prev_selected_t,%g)',scale=%s,metadata=mode=add:key=yard:value=1,metadata=mode=print:file=pipe\\\\:2:direct=1", spacing, fit),
		"-fps_mode", "passthrough", "-f", "image2pipe", "-c:v", "mjpeg", "-q:v", "3", "pipe:1")
	out, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	talk, err := cmd.StderrPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("ffmpeg: %w", err)
	}
	times, said := make(chan time.Duration, most), make(chan string, 1)
	go func() { said <- listen(ctx, talk, times) }()
	frames, err := 0, error(nil)
	for in := bufio.NewReaderSize(out, 1<<16); err == nil; {
		var frame []byte
		if frame, err = nextJPEG(in); err != nil {
			break
		}
		at, ok := <-times
		if !ok {
			err = errors.New("ffmpeg gave a frame without its time")
			break
		}
		frames++
		err = take(at, frame)
	}
	if ctx.Err() != nil {
		err = context.Cause(ctx) // what ffmpeg left undone then is no fault of the film
	}
	if err != nil && !errors.Is(err, io.EOF) {
		cancel()
		<-said
		cmd.Wait() // it was told to end
		return fmt.Errorf("%s: %w", path, err)
	}
	words := <-said
	if err := cmd.Wait(); err != nil && frames == 0 {
		return fmt.Errorf("%s cannot be read as a film; copy it from the phone again, whole (ffmpeg says: %s)", path, words)
	}
	if frames == 0 {
		return fmt.Errorf("%s has no pictures: it is no film", path)
	}
	return nil
}

// listen sends the times that the filter prints, and returns the last other line.
func listen(ctx context.Context, talk io.Reader, times chan<- time.Duration) (last string) {
	defer close(times)
	last = "nothing"
	lines := bufio.NewScanner(talk)
	lines.Buffer(nil, maxTalk)
	for lines.Scan() {
		line := strings.TrimSpace(lines.Text())
		if _, text, ok := strings.Cut(line, "pts_time:"); ok && strings.HasPrefix(line, "frame:") {
			if at, err := strconv.ParseFloat(strings.TrimSpace(text), 64); err == nil && at > -maxNumber && at < maxNumber {
				select {
				case times <- seconds(at):
				case <-ctx.Done():
				}
			}
		} else if line != "" && !strings.HasPrefix(line, "yard=") {
			last = line
		}
	}
	io.Copy(io.Discard, talk) // a line that is too long must not hold it up
	return last
}

// nextJPEG cuts one picture off a run of them: within one, FF D9 comes only at its end,
// but for what is in segments, and ffmpeg puts no pictures there.
func nextJPEG(in *bufio.Reader) ([]byte, error) {
	var frame []byte
	for {
		part, err := in.ReadSlice(0xD9)
		frame = append(frame, part...)
		switch {
		case len(frame) > maxFrame:
			return nil, fmt.Errorf("a frame is longer than %d MB", maxFrame>>20)
		case errors.Is(err, bufio.ErrBufferFull):
			continue
		case err != nil:
			return nil, err // a picture that was begun is lost with it
		case bytes.HasSuffix(frame, []byte{0xFF, 0xD9}):
			return frame, nil
		}
	}
}
