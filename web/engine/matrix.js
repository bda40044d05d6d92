/* Small dense matrices, as arrays of rows. */

/* Solves A·X = B for as many right-hand sides as B has columns, with partial pivoting. */
export function solveMany(matrix, rightSides) {
  const size = matrix.length;
  const rows = matrix.map((row, n) => [...row, ...rightSides[n]]);
  for (let column = 0; column < size; column += 1) {
    let pivot = column;
    for (let n = column + 1; n < size; n += 1) {
      if (Math.abs(rows[n][column]) > Math.abs(rows[pivot][column])) pivot = n;
    }
    [rows[column], rows[pivot]] = [rows[pivot], rows[column]];
    for (let n = column + 1; n < size; n += 1) {
      const factor = rows[n][column] / rows[column][column];
      if (factor) for (let k = column; k < rows[n].length; k += 1) rows[n][k] -= factor * rows[column][k];
    }
  }
  for (let column = size - 1; column >= 0; column -= 1) {
    for (let k = size; k < rows[column].length; k += 1) {
      let value = rows[column][k];
      for (let n = column + 1; n < size; n += 1) value -= rows[column][n] * rows[n][k];
      rows[column][k] = value / rows[column][column];
    }
  }
  return rows.map((row) => row.slice(size));
}

export const solve = (matrix, right) => solveMany(matrix, right.map((value) => [value])).map(([x]) => x);

export const inverse = (matrix) =>
  solveMany(matrix, matrix.map((_, n) => matrix.map((__, k) => (n === k ? 1 : 0))));

export const zeros = (size) => Array.from({ length: size }, () => new Array(size).fill(0));

export const sum = (values) => values.reduce((total, value) => total + value, 0);

export function median(values) {
  const ordered = [...values].sort((a, b) => a - b);
  const middle = Math.floor(ordered.length / 2);
  return ordered.length % 2 ? ordered[middle] : (ordered[middle - 1] + ordered[middle]) / 2;
}

/* An angle in radians within −π…π. */
export const turnWithin = (angle) => Math.atan2(Math.sin(angle), Math.cos(angle));

/* Logarithm of the determinant of a matrix whose determinant is positive. */
export function logDeterminant(matrix) {
  const rows = matrix.map((row) => [...row]);
  let total = 0;
  for (let n = 0; n < rows.length; n += 1) {
    // Normal matrices are positive definite: their pivots need no looking for.
    total += Math.log(rows[n][n]);
    for (let m = n + 1; m < rows.length; m += 1) {
      const factor = rows[m][n] / rows[n][n];
      for (let k = n; k < rows.length; k += 1) rows[m][k] -= factor * rows[n][k];
    }
  }
  return total;
}

/* Eigenvalues and unit vectors of a symmetric matrix, by Jacobi's rotations. */
export function eigen(matrix) {
  const size = matrix.length;
  const a = matrix.map((row) => [...row]);
  const v = a.map((_, n) => a.map((__, k) => (n === k ? 1 : 0)));
  for (let sweep = 0; sweep < 60; sweep += 1) {
    let off = 0;
    for (let p = 0; p < size; p += 1) for (let q = p + 1; q < size; q += 1) off += a[p][q] ** 2;
    if (off < 1e-26) break;
    for (let p = 0; p < size; p += 1) for (let q = p + 1; q < size; q += 1) rotate(a, v, p, q);
  }
  return a.map((row, n) => ({ value: row[n], vector: v.map((each) => each[n]) }));
}

function rotate(a, v, p, q) {
  if (!a[p][q]) return;
  const angle = 0.5 * Math.atan2(2 * a[p][q], a[q][q] - a[p][p]);
  const [c, s] = [Math.cos(angle), Math.sin(angle)];
  for (const row of [...a, ...v]) [row[p], row[q]] = [c * row[p] - s * row[q], s * row[p] + c * row[q]];
  for (let k = 0; k < a.length; k += 1) {
    [a[p][k], a[q][k]] = [c * a[p][k] - s * a[q][k], s * a[p][k] + c * a[q][k]];
  }
}
