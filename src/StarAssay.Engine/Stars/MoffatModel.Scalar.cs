namespace StarAssay.Engine.Stars;

/// <content>The definition.</content>
internal static partial class MoffatKernel
{
    internal static void FillScalar(Stamp stamp, Area area, in Moffat m, float variance, float perElectron, bool fine, Space space)
    {
        float[] nodes = fine ? Nodes3 : Nodes2, weights = fine ? Weights3 : Weights2;
        Span<float> sum = stackalloc float[Moffat.Count];
        float p = (float)m.P, k = (float)m.K, r = (float)m.R, beta = (float)m.Beta, amplitude = (float)m.A;
        for (int j = 0; j < area.Height; j++)
        {
            for (int i = 0; i < area.Padded; i++)
            {
                sum.Clear();
                for (int b = 0; b < nodes.Length; b++)
                {
                    float dy = area.Y + j - (float)m.Y + nodes[b];
                    for (int a = 0; a < nodes.Length; a++)
                    {
                        float dx = area.X + i - (float)m.X + nodes[a], w = weights[a] * weights[b];
                        float px = (p * dx) + (k * dy), py = (k * dx) + (r * dy);
                        float t = 1 + (px * dx) + (py * dy);
                        float log = MathF.Log2(t), value = w * float.Exp2(-beta * log);
                        float g = amplitude * beta * value / t;
                        sum[0] += value;
                        sum[1] += 2 * g * px;
                        sum[2] += 2 * g * py;
                        sum[3] -= g * dx * dx;
                        sum[4] -= 2 * g * dx * dy;
                        sum[5] -= g * dy * dy;
                        sum[6] -= amplitude * value * log * 0.693147181f;
                    }
                }

                float model = amplitude * sum[0];
                float scale = i < area.Width ? 1 / MathF.Sqrt(variance + (perElectron * MathF.Max(0, model))) : 0;
                int at = (j * area.Padded) + i;
                for (int c = 0; c < Moffat.Count; c++)
                {
                    space.Columns[(c * space.Stride) + at] = sum[c] * scale;
                }

                space.Columns[(Moffat.Count * space.Stride) + at] = (stamp.Pixels[((area.Y + j) * stamp.Stride) + area.X + i] - model) * scale;
            }
        }
    }

    internal static void DrawRoundScalar(Stamp stamp, Area area, double x, double y, in PixelSeries m)
    {
        for (int j = 0; j < area.Height; j++)
        {
            float dy = (float)(area.Y + j - y);
            for (int i = 0; i < area.Padded; i++)
            {
                float dx = (float)(area.X + i - x), t = 1 + (((dx * dx) + (dy * dy)) * m.PerSquare), w = 1 / t;
                float value = float.Exp2(-m.Beta * MathF.Log2(t)) * (1 + (w * (m.C1 + (w * (m.C2 + (w * (m.C3 + (w * m.C4))))))));
                stamp.Pixels[((area.Y + j) * stamp.Stride) + area.X + i] = i < area.Width ? m.Amplitude * value : 0;
            }
        }
    }

    internal static void DrawScalar(Stamp stamp, Area area, in Moffat m, bool fine)
    {
        float[] nodes = fine ? Nodes3 : Nodes2, weights = fine ? Weights3 : Weights2;
        for (int j = 0; j < area.Height; j++)
        {
            for (int i = 0; i < area.Padded; i++)
            {
                float sum = 0;
                for (int b = 0; b < nodes.Length; b++)
                {
                    float dy = area.Y + j - (float)m.Y + nodes[b];
                    for (int a = 0; a < nodes.Length; a++)
                    {
                        float dx = area.X + i - (float)m.X + nodes[a];
                        float t = 1 + ((((float)m.P * dx) + ((float)m.K * dy)) * dx) + ((((float)m.K * dx) + ((float)m.R * dy)) * dy);
                        sum += weights[a] * weights[b] * float.Exp2(-(float)m.Beta * MathF.Log2(t));
                    }
                }

                stamp.Pixels[((area.Y + j) * stamp.Stride) + area.X + i] = i < area.Width ? (float)m.A * sum : 0;
            }
        }
    }
}
