//! Principal axes of a cloud in a few dimensions.

/// Sweeps over all pairs: each squares what is left beside the diagonal, so that a dozen dimensions take six.
const SWEEPS: usize = 12;

/// The eigenvalues of a symmetric matrix, each with its unit eigenvector, the largest first: Jacobi's rotations (J. reine
/// angew. Math. 30, 1846, 51; the stable form after Rutishauser, Numer. Math. 9, 1966, 1; both from memory).
pub(super) fn principal(mut matrix: Vec<Vec<f64>>) -> Vec<(f64, Vec<f64>)> {
    let size = matrix.len();
    // Row k becomes eigenvector k.
    let mut vectors: Vec<Vec<f64>> =
        (0..size).map(|row| (0..size).map(|column| f64::from(u8::from(row == column))).collect()).collect();
    for _ in 0..SWEEPS {
        for p in 0..size {
            for q in p + 1..size {
                let beside = matrix[p][q];
                if beside == 0.0 {
                    continue;
                }
                let theta = 0.5 * (matrix[q][q] - matrix[p][p]) / beside;
                let tangent = theta.signum() / (theta.abs() + libm::hypot(theta, 1.0));
                let cosine = 1.0 / libm::hypot(tangent, 1.0);
                let sine = tangent * cosine;
                let turned = |a: f64, b: f64| (cosine * a - sine * b, sine * a + cosine * b);
                for row in &mut matrix {
                    (row[p], row[q]) = turned(row[p], row[q]);
                }
                for column in 0..size {
                    (matrix[p][column], matrix[q][column]) = turned(matrix[p][column], matrix[q][column]);
                    (vectors[p][column], vectors[q][column]) = turned(vectors[p][column], vectors[q][column]);
                }
            }
        }
    }
    let mut all: Vec<(f64, Vec<f64>)> =
        vectors.into_iter().enumerate().map(|(k, vector)| (matrix[k][k], vector)).collect();
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every pair of value and vector solves A v = l v, the vectors are orthonormal, and the values are those of matrices
    /// whose values are known: 2 - 2 cos(k pi / (n + 1)) of the second difference.
    #[test]
    fn known_values() {
        let size = 12;
        let entry = |row: usize, column: usize| match row.abs_diff(column) {
            0 => 2.0,
            1 => -1.0,
            _ => 0.0,
        };
        let matrix: Vec<Vec<f64>> = (0..size).map(|row| (0..size).map(|column| entry(row, column)).collect()).collect();
        let found = principal(matrix.clone());
        for (k, (value, vector)) in found.iter().enumerate() {
            let angle = (size - k) as f64 * core::f64::consts::PI / (size + 1) as f64;
            assert!((value - (2.0 - 2.0 * libm::cos(angle))).abs() < 1e-13, "{k}: {value}");
            for (row, own) in matrix.iter().zip(vector) {
                let image: f64 = row.iter().zip(vector).map(|(a, v)| a * v).sum();
                assert!((image - value * own).abs() < 1e-13);
            }
            for (other, (_, another)) in found.iter().enumerate() {
                let product: f64 = vector.iter().zip(another).map(|(a, b)| a * b).sum();
                assert!((product - f64::from(u8::from(other == k))).abs() < 1e-13);
            }
        }
        assert_eq!(principal(vec![vec![1.0, 0.0], vec![0.0, 3.0]])[0], (3.0, vec![0.0, 1.0]));
        assert!(principal(Vec::new()).is_empty());
    }
}
