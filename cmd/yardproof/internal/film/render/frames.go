package render

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"os"
	"os/exec"
	"runtime"
	"time"
)

// Frame is a picture as it reaches the reader.
type Frame struct {
	At   time.Duration
	JPEG []byte
}

// Film renders the scene, and has it pass through H.264 if the scene says so.
func (y *Yard) Film(show Capture) ([]Frame, error) {
	t := y.take(show)
	raw := t.render()
	frames := make([]Frame, len(t.times))
	if y.Kilobit == 0 {
		for i, c := range raw {
			frames[i] = Frame{t.times[i], encode(<-c, y.Width, y.Height)}
		}
		return frames, nil
	}
	all, err := y.compress(raw)
	if err != nil {
		return nil, err
	}
	if len(all) != len(frames) {
		return nil, fmt.Errorf("%d frames went into H.264, %d came out", len(frames), len(all))
	}
	for i := range frames {
		frames[i] = Frame{t.times[i], all[i]}
	}
	return frames, nil
}

// Video renders the scene into a file, H.264, whose frames are evenly apart: the scene
// must be Even, and lose none.
func (y *Yard) Video(show Capture, path string) error {
	return y.record(y.take(show).render(), path)
}

// render renders all frames, in order, no more than a few ahead of whoever takes them:
// they are large.
func (t *take) render() []chan []uint8 {
	raw := make([]chan []uint8, len(t.times))
	for i := range raw {
		raw[i] = make(chan []uint8)
	}
	room := make(chan struct{}, runtime.GOMAXPROCS(0))
	go func() {
		for i := range raw {
			room <- struct{}{}
			go func() {
				raw[i] <- t.frame(i)
				<-room
			}()
		}
	}()
	return raw
}

// encode makes a JPEG of a frame.
//
//go:norace
func encode(rgb []uint8, w, h int) []byte {
	m := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio420)
	for y := range h {
		for x := range w {
			r, g, b := int32(rgb[(y*w+x)*3]), int32(rgb[(y*w+x)*3+1]), int32(rgb[(y*w+x)*3+2])
			m.Y[y*m.YStride+x] = uint8((19595*r + 38470*g + 7471*b + 1<<15) >> 16)
		}
	}
	for y := 0; y < h/2; y++ {
		for x := 0; x < w/2; x++ {
			var r, g, b int32
			for k := range 4 {
				o := ((2*y+k/2)*w + 2*x + k%2) * 3
				r, g, b = r+int32(rgb[o]), g+int32(rgb[o+1]), b+int32(rgb[o+2])
			}
			o := y*m.CStride + x
			m.Cb[o] = clip(128 + (-11059*r-21709*g+32768*b)>>18)
			m.Cr[o] = clip(128 + (32768*r-27439*g-5329*b)>>18)
		}
	}
	return inJPEG(m)
}

// inJPEG makes a JPEG as the page does.
func inJPEG(m *image.YCbCr) []byte {
	var out bytes.Buffer
	if err := jpeg.Encode(&out, m, &jpeg.Options{Quality: 75}); err != nil {
		panic(err) // a bytes.Buffer takes everything
	}
	return out.Bytes()
}

func clip(v int32) uint8 { return uint8(max(0, min(255, v))) }

// compress has ffmpeg make H.264 of the frames and pictures of that again.
func (y *Yard) compress(raw []chan []uint8) (all [][]byte, err error) {
	file, err := os.CreateTemp("", "*.mp4")
	if err != nil {
		return nil, err
	}
	file.Close()
	defer os.Remove(file.Name())
	if err := y.record(raw, file.Name()); err != nil {
		return nil, err
	}
	cmd := exec.Command("ffmpeg", "-v", "error", "-i", file.Name(), "-fps_mode", "passthrough", "-f", "rawvideo", "-pix_fmt", "yuvj420p", "-")
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	for m := image.NewYCbCr(image.Rect(0, 0, y.Width, y.Height), image.YCbCrSubsampleRatio420); ; {
		for _, plane := range [][]uint8{m.Y, m.Cb, m.Cr} {
			if err == nil {
				_, err = io.ReadFull(out, plane)
			}
		}
		if err != nil {
			break
		}
		all = append(all, inJPEG(m))
	}
	if ended := cmd.Wait(); ended != nil || err != io.EOF {
		return nil, fmt.Errorf("ffmpeg: %w", errors.Join(err, ended))
	}
	return all, nil
}

// record has ffmpeg make H.264 of the frames. The rate is for thirty frames a second:
// fewer get as much each.
func (y *Yard) record(raw []chan []uint8, path string) error {
	rate := fmt.Sprintf("%.0fk", float64(y.Kilobit)*y.Rate/30)
	in := exec.Command("ffmpeg", "-v", "error", "-y", "-threads", "2", "-f", "rawvideo", "-pix_fmt", "rgb24", "-s", fmt.Sprintf("%dx%d", y.Width, y.Height),
		"-r", fmt.Sprint(y.Rate), "-i", "-", "-c:v", "libx264", "-preset", "veryfast", "-b:v", rate, "-pix_fmt", "yuv420p", path)
	pipe, err := in.StdinPipe()
	if err != nil {
		return err
	}
	var talk bytes.Buffer
	in.Stderr = &talk
	if err := in.Start(); err != nil {
		return err
	}
	for _, c := range raw {
		if _, err := pipe.Write(<-c); err != nil {
			break // what it says tells more
		}
	}
	pipe.Close()
	if err := in.Wait(); err != nil {
		return fmt.Errorf("ffmpeg: %w: %s", err, talk.String())
	}
	return nil
}
