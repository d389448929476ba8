package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"yardproof/sacn/sacntest"
)

// TestRooms: each room has its row in DEVELOPERS.md, and imports only what that allows.
func TestRooms(t *testing.T) {
	text := sacntest.Read(t, "../../DEVELOPERS.md")
	may := map[string]string{}
	for _, row := range regexp.MustCompile("(?m)^\\| `([\\w/]+)/` \\| .* \\| (.*) \\|$").FindAllStringSubmatch(text, -1) {
		may[row[1]] = row[2]
	}
	files := 0
	err := filepath.WalkDir("internal", func(name string, _ fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return err
		}
		files++
		room := strings.TrimPrefix(filepath.ToSlash(filepath.Dir(name)), "internal/")
		if may[room] == "" {
			t.Errorf("%s has no row", room)
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		for _, i := range file.Imports {
			what, _ := strconv.Unquote(i.Path.Value)
			named := regexp.MustCompile("`([\\w/]+/)?" + path.Base(what) + "`").MatchString(may[room])
			if strings.HasPrefix(what, "yardproof/") && named == strings.HasPrefix(may[room], "all of these but") {
				t.Errorf("%s imports %s; its row allows %s", name, what, may[room])
			}
		}
		return nil
	})
	if err != nil || files < 100 {
		t.Errorf("%d files, %v", files, err)
	}
}
