// Places for labels along a rail: each as near as can be to where it would be, in
// order, none nearer to the next than it may be.

// spread gives the positions with the least sum of squared moves: gap[k] is the
// least distance from k to k+1, wanted is in ascending order. Where all do not fit
// between lo and hi they begin at lo and go over.
//
// With the gaps taken off this is isotonic regression, solved by pooling adjacent
// violators (Ayer, Brunk, Ewing, Reid and Silverman, Annals of Mathematical
// Statistics 26, 1955).
export function spread(wanted: readonly number[], gap: readonly number[], lo: number, hi: number): number[] {
  const offset: number[] = [];
  let sum = 0;
  wanted.forEach((_, k) => {
    offset.push(sum);
    sum += gap[k] ?? 0;
  });
  const last = offset.at(-1) ?? 0;
  const pools: { total: number; n: number }[] = [];
  wanted.forEach((w, k) => {
    pools.push({ total: w - (offset[k] ?? 0), n: 1 });
    for (;;) {
      const b = pools.at(-1);
      const a = pools.at(-2);
      if (!a || !b || a.total / a.n <= b.total / b.n) break;
      pools.pop();
      a.total += b.total;
      a.n += b.n;
    }
  });
  const flat = pools.flatMap((p) => Array.from({ length: p.n }, () => p.total / p.n));
  return flat.map((v, k) => Math.max(lo, Math.min(v, hi - last)) + (offset[k] ?? 0));
}
