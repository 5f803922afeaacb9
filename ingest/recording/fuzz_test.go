package recording_test

import (
	"bytes"
	"errors"
	"io"
	"testing"
	"testing/iotest"

	"hawser/ingest/recording"
)

// FuzzRead holds on any bytes: the invariants of readAll; an error names a line
// of the file; every row counted is in a block or of an unknown channel; and
// the blocks do not hang on how the bytes arrive.
func FuzzRead(f *testing.F) {
	for _, s := range []string{
		"", top, top + "2000,7/tension,88.5\n9000,7/tension,88.5\n1500,7/brake,x\n",
		"\ufeff" + top + "\"2000\",\"7/tension\",\"8,5\"\r\n\r\n3600000,wind/speed,1e3\n2000,wind/speed,-0.0\n",
		top + "2026-03-01T04:05:06.700Z,7/tension,88.5\n2026-03-01T04:05:16+00:00,8/tension,NaN\n2026-03-01T04:05:07Z,a/b,\n",
		top + "1,7/tension,1\n1,7/tension",
	} {
		f.Add([]byte(s))
	}
	packed, _ := berthRecording(f, 2, recording.WriterOptions{Gzip: true})
	f.Add(packed)
	f.Add(packed[:len(packed)/2])
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 64<<10 {
			return
		}
		whole := func(in io.Reader) (string, string) {
			r, err := recording.NewReader("fuzz.csv", in, recording.Options{})
			if err != nil {
				return "", located(t, data, err)
			}
			blocks, err := readAll(t, r)
			n := uint64(0)
			for _, b := range blocks {
				n += uint64(b.Samples())
			}
			if s := r.Stats(); n+s.Unknown != s.Rows {
				t.Fatalf("%d readings, %+v", n, s)
			}
			return text(blocks), located(t, data, err)
		}
		blocks, fault := whole(bytes.NewReader(data))
		chunked, chunkedFault := whole(iotest.OneByteReader(bytes.NewReader(data)))
		if blocks != chunked || fault != chunkedFault {
			t.Fatalf("%s\n%s\nbyte by byte\n%s\n%s", blocks, fault, chunked, chunkedFault)
		}
	})
}

func located(t *testing.T, data []byte, err error) string {
	if err == nil {
		return ""
	}
	var e *recording.Error
	if !errors.As(err, &e) || e.Name != "fuzz.csv" || e.Line < 1 {
		t.Fatalf("error without a place: %v", err)
	}
	if plain := !bytes.HasPrefix(data, []byte{0x1f, 0x8b}); plain && e.Line > bytes.Count(data, []byte{'\n'})+1 {
		t.Fatalf("beyond the file: %v", err)
	}
	return err.Error()
}
