using System.Runtime.InteropServices;
using Python.Runtime;
using StarAssay.Engine.Imaging;
using StarAssay.Engine.Results;

namespace StarAssay.Bridge.Astropy;

/// <summary>
/// Reads FITS through Astropy, called from C#. Python must run in this process (see <see cref="PythonHost"/>).
/// Pixels keep the file's encoding and byte order; the engine decodes them.
/// </summary>
public sealed class AstropyImageReader : IImageReader
{
    /// <inheritdoc/>
    public Frame Read(string path)
    {
        if (!File.Exists(path))
        {
            throw new InputException("file.missing", $"There is no file {path}. Check the name and the folder.", nameof(path), path);
        }

        using (Py.GIL())
        {
            using PyObject fits = Py.Import("astropy.io.fits");
            using PyObject hdus = Open(fits, path);
            try
            {
                using PyObject count = hdus.InvokeMethod("__len__");
                for (int i = 0; i < count.As<int>(); i++)
                {
                    using PyObject hdu = hdus[i];
                    using PyObject isImage = hdu.GetAttr("is_image");
                    using PyObject data = isImage.IsTrue() ? hdu.GetAttr("data") : PyObject.None;
                    if (!data.IsNone())
                    {
                        using PyObject header = hdu.GetAttr("header");
                        return ToFrame(data, header, path);
                    }
                }
            }
            finally
            {
                hdus.InvokeMethod("close").Dispose();
            }
        }

        throw new InputException("file.no-image", $"{path} holds no image. Choose a file with at least one image extension.", nameof(path), path);
    }

    private static PyObject Open(PyObject fits, string path)
    {
        using PyDict options = new();
        using PyObject yes = true.ToPython();
        options["do_not_scale_image_data"] = yes;
        using PyString name = new(path);
        using PyObject open = fits.GetAttr("open");
        try
        {
            return open.Invoke([name], options);
        }
        catch (PythonException e)
        {
            throw new InputException("file.not-fits", $"{path} cannot be read as FITS: {e.Message} Copy it from the camera again.", nameof(path), path, e);
        }
    }

    private static Frame ToFrame(PyObject data, PyObject header, string path)
    {
        using PyObject numpy = Py.Import("numpy");
        using PyObject array = numpy.InvokeMethod("ascontiguousarray", data);
        using PyObject dtype = array.GetAttr("dtype");
        using PyObject shape = array.GetAttr("shape");
        int[] sizes = shape.As<int[]>();
        if (sizes.Length != 2)
        {
            throw new InputException("frame.dimensions", $"{path} has {sizes.Length} axes; an image with two is needed. Choose one plane of it.", nameof(path),
                path);
        }

        string code = Text(dtype, "kind") + Text(dtype, "itemsize");
        using PyBuffer buffer = array.GetBuffer(PyBUF.ND);
        byte[] bytes = new byte[buffer.Length];
        Marshal.Copy(buffer.Buffer, bytes, 0, bytes.Length);
        var pixels = new RawPixels(bytes, FormatOf(code, path), Text(dtype, "byteorder") == ">", sizes[1], sizes[0],
            Number(header, "BSCALE", 1), Number(header, "BZERO", 0));
        return new Frame { Pixels = pixels, Name = Path.GetFileName(path), ExposureS = Number(header, "EXPTIME", double.NaN) };
    }

    private static PixelFormat FormatOf(string code, string path) => code switch
    {
        "u1" => PixelFormat.UInt8,
        "i2" => PixelFormat.Int16,
        "i4" => PixelFormat.Int32,
        "i8" => PixelFormat.Int64,
        "f4" => PixelFormat.Float32,
        "f8" => PixelFormat.Float64,
        _ => throw new InputException("frame.type", $"{path} holds values of type '{code}', which FITS does not know.", nameof(path), path),
    };

    private static string Text(PyObject target, string attribute)
    {
        using PyObject value = target.GetAttr(attribute);
        return value.ToString()!;
    }

    private static double Number(PyObject header, string key, double otherwise)
    {
        using PyString name = new(key);
        using PyFloat fallback = new(otherwise);
        using PyObject value = header.InvokeMethod("get", name, fallback);
        using PyFloat number = PyFloat.AsFloat(value);
        return number.ToDouble();
    }
}
