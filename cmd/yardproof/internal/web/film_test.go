package web

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/jpeg"
	"net/http"
	"os"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/cmd/yardproof/internal/film"
)

// smallFrame is a picture of 64 by 36.
func smallFrame(t *testing.T) []byte {
	t.Helper()
	var frame bytes.Buffer
	if err := jpeg.Encode(&frame, image.NewYCbCr(image.Rect(0, 0, 64, 36), image.YCbCrSubsampleRatio420), nil); err != nil {
		t.Fatal(err)
	}
	return frame.Bytes()
}

// film begins a film, and hands so many frames over.
func (y *yard) film(t *testing.T, frames int) (id string) {
	t.Helper()
	var told filmed
	got := y.do(t, "POST", "/api/film", `{}`)
	if got.Code != http.StatusCreated {
		t.Fatalf("%d %s", got.Code, got.Body)
	}
	got.json(&told)
	frame := smallFrame(t)
	for i := range frames {
		if got := y.frame(t, told.ID, fmt.Sprint(float64(i)*.1), string(frame)); got.Code != http.StatusNoContent {
			t.Fatalf("frame %d: %d %s", i, got.Code, got.Body)
		}
	}
	return told.ID
}

func (y *yard) frame(t *testing.T, id, at, text string) reply {
	t.Helper()
	return y.do(t, "POST", "/api/film/frames?film="+id, text, func(r *http.Request) {
		r.Header.Set("Content-Type", "image/jpeg")
		r.Header.Set("Shown-At", at)
	})
}

// is is how far a film is; "": it is gone.
func (y *yard) is(t *testing.T, id string) string {
	t.Helper()
	var told filmed
	if got := y.do(t, "GET", "/api/film?film="+id, ""); got.Code == http.StatusOK {
		got.json(&told)
	}
	return told.Is
}

// held is how many frames are in memory.
func (y *yard) held() (frames int) {
	y.cinema.mu.Lock()
	defer y.cinema.mu.Unlock()
	for f := y.cinema.showing; f != nil; f = f.before {
		if f.reader != nil {
			frames += f.reader.Frames()
		}
	}
	return frames
}

// A page that is closed on the way leaves nothing behind: another phone may begin soon,
// and the frames are let go after a minute. Nothing of them is ever on disk.
func TestFilmGivenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t, nil)
		first := y.film(t, 30)
		time.Sleep(filmIdle - time.Second)
		y.wants(t, http.StatusConflict, "POST", "/api/film", `{}`, "Another film is being read. Wait until it is done, then try again.")
		time.Sleep(time.Second)
		second := y.film(t, 20)
		if is, n := y.is(t, first), y.held(); is != "" || n != 20 {
			t.Errorf("the film of the phone that went away is %q, and %d frames are held", is, n)
		}
		if got := y.frame(t, first, "9", "x"); got.Code != http.StatusNotFound || !strings.Contains(got.Body.String(), "This film is no longer here. Hand it over again.") {
			t.Errorf("its next frame: %d %s", got.Code, got.Body)
		}
		time.Sleep(filmKept - time.Second)
		if is, n := y.is(t, second), y.held(); is != "coming" || n != 20 {
			t.Errorf("before a minute is over it is %q, and %d frames are held", is, n)
		}
		time.Sleep(2 * time.Second)
		if is, n := y.is(t, second), y.held(); is != "failed" || n != 0 {
			t.Errorf("after a minute it is %q, and %d frames are held", is, n)
		}
		y.wants(t, http.StatusAccepted, "POST", "/api/film/read", `{"film":"`+second+`"}`, "The film did not come to its end. Hand it over again.")
		third := y.film(t, 10)
		y.do(t, "POST", "/api/film/cancel", `{"film":"`+third+`"}`)
		if is, n := y.is(t, third), y.held(); is != "" || n != 0 {
			t.Errorf("after it was stopped it is %q, and %d frames are held", is, n)
		}
		all, err := os.ReadDir(y.cfg.State)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range all {
			if e.Name() == film.KeptName || strings.HasSuffix(e.Name(), ".jpg") {
				t.Errorf("%s is on disk", e.Name())
			}
		}
	})
}

// What is no film ends in one sentence that says what to do, and holds nothing.
func TestFilmRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t, nil)
		wide := smallFrame(t)
		size := wide[bytes.Index(wide, []byte{0xff, 0xc0})+5:] // in the header of the frame, ITU-T T.81 B.2.2
		binary.BigEndian.PutUint16(size, 2160)
		binary.BigEndian.PutUint16(size[2:], 3840)
		for _, tt := range []struct {
			at, frame string
			code      int
			want      string
			ends      bool
		}{
			{"soon", "", http.StatusBadRequest, `Shown-At "soon" is no time in seconds.`, false},
			{"NaN", "", http.StatusBadRequest, `Shown-At "NaN" is no time in seconds.`, false},
			{"3", "la la la", http.StatusUnprocessableEntity, "The frame is no whole JPEG picture", true},
			{"3", string(wide), http.StatusUnprocessableEntity, "The frames are too large: scale them down to 1920 by 1080.", true},
			{"3", strings.Repeat("x", maxFilmFrame+1), http.StatusRequestEntityTooLarge, "A frame did not come whole, or is longer than 4 MB.", false},
		} {
			id := y.film(t, 3)
			if got := y.frame(t, id, tt.at, tt.frame); got.Code != tt.code || !strings.Contains(got.Body.String(), strings.ReplaceAll(tt.want, `"`, `\"`)) {
				t.Errorf("%.20q at %s: %d %s, want %s", tt.frame, tt.at, got.Code, got.Body, tt.want)
			}
			if is := y.is(t, id); (is == "failed") != tt.ends || (y.held() == 0) != tt.ends {
				t.Errorf("%.20q at %s: the film is %s, and %d frames are held", tt.frame, tt.at, is, y.held())
			}
			y.do(t, "POST", "/api/film/cancel", `{"film":"`+id+`"}`)
		}
		for at, want := range map[float64]string{15: "The film is too short: film for 20 seconds, at least 16.", 16: "The film has too few frames: at least 8 a second are needed; turn off time lapse."} {
			id := y.film(t, 30)
			y.frame(t, id, fmt.Sprint(at), string(smallFrame(t)))
			y.do(t, "POST", "/api/film/read", `{"film":"`+id+`"}`)
			synctest.Wait()
			if got := y.do(t, "GET", "/api/film?film="+id, "").Body.String(); !strings.Contains(got, want) || y.held() != 0 {
				t.Errorf("a film of %v s: %s, want %s", at, got, want)
			}
		}
		y.wants(t, http.StatusConflict, "POST", "/api/film", `{"also":"gone"}`, "The film from the other side is no longer here, or the plan was read again since. Hand over both.")
	})
}
