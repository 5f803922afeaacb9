// Reads exports with DuckDB (Parquet, CSV) and the Arrow project's own reader, and
// prints what they are found to hold as JSON:
//
//	node read.cjs FOLDER-OF-READERS RAW.parquet STEPS.parquet RAW.csv RAW.arrow STEP-SECONDS
const { createRequire } = require('module')
const fs = require('fs')
const [readers, raw, steps, csv, arrow, stepSeconds] = process.argv.slice(2)
const load = createRequire(readers + '/')
const { DuckDBInstance } = load('@duckdb/node-api')
const { tableFromIPC } = load('apache-arrow')

const step = BigInt(stepSeconds) * 1000000000n

async function main() {
  const db = await (await DuckDBInstance.create(':memory:')).connect()
  const ask = async (sql) => (await db.runAndReadAll(sql)).getRowObjectsJson()
  const totals = (from) =>
    ask(`select channel, unit, count(*)::int as count, sum(value)::double as sum, min(berth) as berth from ${from} group by channel, unit order by channel`)
  const notes = async (file) =>
    Object.fromEntries((await ask(`select decode(key) as k, decode(value) as v from parquet_kv_metadata('${file}')`)).map((r) => [r.k, r.v]))
  // Steps reckoned by the database from the readings, beside those of the export.
  const differences = await ask(`
    with reckoned as (
      select channel, epoch_ns(time) // ${step} * ${step} as t, avg(value) as mean, min(value) as lo, max(value) as hi,
        stddev_pop(value) as std, count(*) as n
      from '${raw}' group by all)
    select count(*)::int as differ, (select count(*)::int from '${steps}') as rows, (select count(*)::int from reckoned) as want
    from reckoned r full join '${steps}' s on r.channel = s.channel and r.t = epoch_ns(s.time)
    where not coalesce(r.n = s.count and abs(r.mean - s.mean) < 1e-9 * (1 + abs(r.mean)) and r.lo = s.min and r.hi = s.max
      and abs(r.std - s.std) < 1e-6 * (1 + abs(r.std)), false)`)
  const out = {
    parquet: await totals(`'${raw}'`),
    csv: await totals(`read_csv('${csv}')`),
    types: await ask(`describe select * from '${raw}'`),
    span: (await ask(`select epoch_ns(min(time))::varchar as first, epoch_ns(max(time))::varchar as last from '${raw}'`))[0],
    notes: await notes(raw),
    stepNotes: await notes(steps),
    steps: differences[0],
  }
  const table = tableFromIPC(fs.readFileSync(arrow))
  const sums = new Map()
  for (const batch of table.batches) {
    const column = (name) => batch.getChild(name)
    const channel = column('channel'), unit = column('unit'), value = column('value'), berth = column('berth')
    for (let i = 0; i < batch.numRows; i++) {
      const key = channel.get(i)
      const one = sums.get(key) ?? { channel: key, unit: unit.get(i), count: 0, sum: 0, berth: berth.get(i) }
      one.count++
      one.sum += value.get(i)
      sums.set(key, one)
    }
  }
  out.arrow = [...sums.values()].sort((a, b) => (a.channel < b.channel ? -1 : 1))
  out.arrowNotes = Object.fromEntries(table.schema.metadata)
  out.arrowTypes = table.schema.fields.map((f) => `${f.name} ${f.type}`)
  console.log(JSON.stringify(out))
}

main().catch((err) => {
  console.error(err)
  process.exit(1)
})
