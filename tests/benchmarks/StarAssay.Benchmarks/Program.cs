using BenchmarkDotNet.Columns;
using BenchmarkDotNet.Configs;
using BenchmarkDotNet.Environments;
using BenchmarkDotNet.Jobs;
using BenchmarkDotNet.Running;

// dotnet run -c Release --project tests/benchmarks/StarAssay.Benchmarks -- --filter '*'
//
// Each kernel runs in four child processes: without vectors (the baseline), with 128, 256 and 512 bits. The switches
// are the .NET runtime's own; a processor without a width falls back to the next narrower one.
//
// dotnet run -c Release --project tests/benchmarks/StarAssay.Benchmarks -- stages [threads]
// dotnet run -c Release --project tests/benchmarks/StarAssay.Benchmarks -- wavefront-stages [threads [gaussian|kolmogorov]]
//
// Instead, the stages of one star measurement or of one wavefront fit, in this process.
int threads = args.Length > 1 && int.TryParse(args[1], System.Globalization.CultureInfo.InvariantCulture, out int given) ? given : Environment.ProcessorCount;
switch (args)
{
    case ["stages", ..]:
        StarAssay.Benchmarks.StarStages.Run(threads, repeats: 12);
        return;
    case ["wavefront-stages", ..]:
        bool[] kernels = args is [_, _, string kernel, ..] ? [kernel == "gaussian"] : [true, false];
        StarAssay.Benchmarks.WavefrontStages.Run(threads, repeats: 40, kernels);
        return;
}

ManualConfig config = DefaultConfig.Instance
    .AddColumn(StatisticColumn.Min)
    .AddJob(Tier("scalar", "DOTNET_EnableHWIntrinsic").AsBaseline())
    .AddJob(Tier("128", "DOTNET_EnableAVX2"))
    .AddJob(Tier("256", "DOTNET_EnableAVX512"))
    .AddJob(Job.ShortRun.WithRuntime(CoreRuntime.Core10_0).WithId("widest"));
BenchmarkSwitcher.FromAssembly(typeof(Program).Assembly).Run(args, config);

static Job Tier(string name, string off) =>
    Job.ShortRun.WithRuntime(CoreRuntime.Core10_0).WithId(name).WithEnvironmentVariable(off, "0");
