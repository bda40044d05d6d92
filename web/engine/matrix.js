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
