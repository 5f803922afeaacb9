package tsdb

import (
	"context"
	"log/slog"
	"sync"

	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/storage"
	promtsdb "github.com/prometheus/prometheus/tsdb"
	"github.com/prometheus/prometheus/tsdb/chunkenc"
	"github.com/prometheus/prometheus/tsdb/chunks"
	"github.com/prometheus/prometheus/util/annotations"
)

// tolerantQuerier reads blocks past damage inside them: a chunk whose checksum is
// wrong is as good as empty, an index that ends early leaves its other blocks to
// be read. The database by itself fails a whole query for one bad byte. found is
// called for every damaged part; the log names a block once.
func tolerantQuerier(log *slog.Logger, found func()) promtsdb.BlockQuerierFunc {
	var told sync.Map // of block names; bounded by the damaged blocks of one run
	return func(b promtsdb.BlockReader, mint, maxt int64) (storage.Querier, error) {
		block, ok := b.(*promtsdb.Block)
		if !ok {
			// What is in memory comes from a log that was checked on its way in.
			return promtsdb.NewBlockQuerier(b, mint, maxt)
		}
		t := tolerant{Block: block, damaged: func(err error) {
			found()
			if _, again := told.LoadOrStore(block.Meta().ULID, true); !again {
				log.Error("block is damaged inside, reading on without the damaged parts",
					"block", block.Dir(), "err", err)
			}
		}}
		q, err := promtsdb.NewBlockQuerier(t, mint, maxt)
		if err != nil {
			return nil, err
		}
		return tolerantQueries{Querier: q, damaged: t.damaged}, nil
	}
}

// tolerant is a block with chunks that can be read.
type tolerant struct {
	*promtsdb.Block
	damaged func(error)
}

func (t tolerant) Chunks() (promtsdb.ChunkReader, error) {
	r, err := t.Block.Chunks()
	if err != nil {
		return nil, err
	}
	return tolerantChunks{ChunkReader: r, damaged: t.damaged}, nil
}

type tolerantChunks struct {
	promtsdb.ChunkReader
	damaged func(error)
}

func (t tolerantChunks) ChunkOrIterable(m chunks.Meta) (chunkenc.Chunk, chunkenc.Iterable, error) {
	c, it, err := t.ChunkReader.ChunkOrIterable(m)
	if err != nil {
		t.damaged(err)
		return chunkenc.NewXORChunk(), nil, nil
	}
	return c, it, nil
}

type tolerantQueries struct {
	storage.Querier
	damaged func(error)
}

func (t tolerantQueries) Select(ctx context.Context, sorted bool, hints *storage.SelectHints, ms ...*labels.Matcher) storage.SeriesSet {
	return &tolerantSet{SeriesSet: t.Querier.Select(ctx, sorted, hints, ms...), ctx: ctx, damaged: t.damaged}
}

type tolerantSet struct {
	storage.SeriesSet
	ctx     context.Context // of this one Select, as the database keeps it too
	damaged func(error)
	told    bool
}

// Err hides damage once it is counted, but not the end of the context.
func (t *tolerantSet) Err() error {
	err := t.SeriesSet.Err()
	if err == nil || t.ctx.Err() != nil {
		return err
	}
	if !t.told {
		t.told = true
		t.damaged(err)
	}
	return nil
}

func (t *tolerantSet) Warnings() annotations.Annotations { return t.SeriesSet.Warnings() }
